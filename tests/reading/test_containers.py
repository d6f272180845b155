"""Files, folders and zip archives become sources in a fixed order; what cannot be taken is said, the rest goes on."""

from __future__ import annotations

import hashlib
import os
import stat
import zipfile
from pathlib import Path

from interchange.errors import Problem
from interchange.files import Source, ZipMember
from interchange.reading.containers import ZipLimits, walk


def _names(*paths: Path) -> list[tuple[str, str]]:
    """Name and code of all that comes out; `source` stands for a source."""
    return [
        (item.name, "source") if isinstance(item, Source) else (item.place.file, item.code)
        for item in walk(list(paths))
    ]


def test_a_folder_is_walked_by_name_and_hidden_files_are_said(tmp_path: Path) -> None:
    for name in ("b.csv", "a.csv", ".hidden", "sub/c.csv", ".git/d.csv"):
        path = tmp_path / "in" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(name)
    assert _names(tmp_path / "in") == [
        ("in/.git", "hidden"),
        ("in/.hidden", "hidden"),
        ("in/a.csv", "source"),
        ("in/b.csv", "source"),
        ("in/sub/c.csv", "source"),
    ]
    hidden = next(iter(walk([tmp_path / "in"])))
    assert isinstance(hidden, Problem)
    assert hidden.blocks == "note"


def test_a_source_knows_hash_and_size_and_gives_its_bytes_again(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"0042\n")
    (found,) = walk([path])
    assert found == Source("a.csv", hashlib.sha256(b"0042\n").hexdigest(), 5, path)
    assert [found.open().read(), found.open().read()] == [b"0042\n", b"0042\n"]


def test_links_devices_and_missing_files_are_problems_and_the_others_go_on(tmp_path: Path) -> None:
    (tmp_path / "real.csv").write_text("x")
    (tmp_path / "link.csv").symlink_to(tmp_path / "real.csv")
    os.mkfifo(tmp_path / "pipe.csv")
    assert _names(*(tmp_path / name for name in ("gone.csv", "link.csv", "pipe.csv", "real.csv"))) == [
        ("gone.csv", "file-unreadable"),
        ("link.csv", "link"),
        ("pipe.csv", "not-a-file"),
        ("real.csv", "source"),
    ]


def test_a_zip_archive_is_walked_like_a_folder(tmp_path: Path) -> None:
    path = tmp_path / "mail.ZIP"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("two/b.csv", "bb")
        archive.writestr("a.csv", "a")
        archive.writestr("__MACOSX/._a.csv", "junk")
        archive.writestr("empty/", "")
    assert _names(path) == [
        ("mail.ZIP/__MACOSX/._a.csv", "hidden"),
        ("mail.ZIP/a.csv", "source"),
        ("mail.ZIP/two/b.csv", "source"),
    ]
    member = [item for item in walk([path]) if isinstance(item, Source)][1]
    assert (member.content, member.size_bytes, member.sha256) == (
        ZipMember(path, "two/b.csv"),
        2,
        hashlib.sha256(b"bb").hexdigest(),
    )
    assert [member.open().read(), member.open().read()] == [b"bb", b"bb"]


def test_members_that_lead_out_link_or_nest_are_refused_and_the_others_go_on(tmp_path: Path) -> None:
    path = tmp_path / "odd.zip"
    link = zipfile.ZipInfo("link.csv")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(path, "w") as archive:
        for name in ("../up.csv", "/root.csv", "C:/disk.csv", "in\\..\\..\\up.csv", "inner.zip", "ok.csv"):
            archive.writestr(name, "x")
        archive.writestr(link, "ok.csv")
    assert sorted(_names(path)) == [
        ("odd.zip/../up.csv", "zip-member-name"),
        ("odd.zip//root.csv", "zip-member-name"),
        ("odd.zip/C:/disk.csv", "zip-member-name"),
        ("odd.zip/in\\..\\..\\up.csv", "zip-member-name"),
        ("odd.zip/inner.zip", "zip-nested"),
        ("odd.zip/link.csv", "link"),
        ("odd.zip/ok.csv", "source"),
    ]


def test_a_zip_bomb_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    path = tmp_path / "bomb.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        archive.writestr("zeros.csv", b"0" * 5_000_000)
    packed = zipfile.ZipFile(path).infolist()[0].compress_size
    (problem,) = walk([path])
    assert str(problem) == (
        f"bomb.zip/zeros.csv: found {packed:,} bytes that unpack to 5,000,000; "
        "expected a member at most 200 times its packed size. Give this file unpacked."
    )


def test_limits_on_members_and_unpacked_bytes(tmp_path: Path) -> None:
    path = tmp_path / "many.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for number in range(4):
            archive.writestr(f"{number}.csv", "12345")
    (too_many,) = walk([path], ZipLimits(members=3))
    (too_large,) = walk([path], ZipLimits(inflated_bytes=19))
    assert str(too_many) == (
        "many.zip: found 4 members; expected at most 3 members. Pack fewer files into one archive."
    )
    assert str(too_large) == (
        "many.zip: found 20 bytes once unpacked; expected at most 19 bytes. Pack fewer files into one archive."
    )
    assert all(isinstance(item, Source) for item in walk([path], ZipLimits(members=4, inflated_bytes=20)))


def test_broken_archives_and_members_are_problems(tmp_path: Path) -> None:
    (tmp_path / "no.zip").write_bytes(b"PK\x03\x04 not really")
    path = tmp_path / "bad.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("a.csv", "first member")
        archive.writestr("b.csv", "second member")
    data = bytearray(path.read_bytes())
    data[data.index(b"first")] ^= 1
    path.write_bytes(bytes(data))
    encrypted = tmp_path / "secret.zip"
    info = zipfile.ZipInfo("s.csv")
    with zipfile.ZipFile(encrypted, "w") as archive:
        archive.writestr(info, "x")
        info.flag_bits |= 1
    assert _names(tmp_path / "no.zip", path, encrypted) == [
        ("no.zip", "zip-broken"),
        ("bad.zip/a.csv", "zip-broken"),
        ("bad.zip/b.csv", "source"),
        ("secret.zip/s.csv", "zip-encrypted"),
    ]


def test_a_member_that_lies_about_its_size_is_not_inflated_beyond_it(tmp_path: Path) -> None:
    path = tmp_path / "liar.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.csv", b"0" * 3_000_000)
    data = path.read_bytes()
    true, claimed = (3_000_000).to_bytes(4, "little"), (100).to_bytes(4, "little")
    path.write_bytes(data.replace(true, claimed))
    (problem,) = walk([path])
    assert isinstance(problem, Problem)
    assert (problem.code, problem.blocks) == ("zip-broken", "file")


def test_a_member_that_is_too_much_keeps_its_neighbours(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "a.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("blown.csv", b"a" * 3_000_000)
        archive.writestr("good.csv", b"1,2\n")
    blown, good = walk([tmp_path / "a.zip"])
    assert isinstance(blown, Problem)
    assert (blown.code, blown.place.file) == ("zip-ratio", "a.zip/blown.csv")
    assert isinstance(good, Source)
    assert good.name == "a.zip/good.csv"
