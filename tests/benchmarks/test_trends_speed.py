"""Whole processes: `trends` over 100,000 tests against bare DuckDB doing the same SQL over the same Parquet files."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from interchange.archive import derived, log, parts
from interchange.archive.settings import Settings
from interchange.archive.store import Store
from interchange.model import ruleset
from interchange.operations.trends import trends
from interchange.quantities import CHOICES
from tests.benchmarks.measuring import report, seconds
from tests.benchmarks.test_recompute_speed import many_sessions
from tests.benchmarks.test_start_speed import MAIN, _process

pytestmark = pytest.mark.benchmark

TESTS, CREWS, BATCH = 100_000, 40, 16_384
RULES = "iso9972@2015"
LEVELS = (1, 2, 3, 4, 9)

# The question that `trends` answers by default, as somebody would write it who knows that one rule set judges all.
BARE = """
select s.crew, count(*) as tests,
       count(w) as w_asked, count_if(w) as w_found, count(l) as l_asked, count_if(l) as l_found,
       count(f) as f_asked, count_if(f) as f_found
from (
    select s.crew,
           case when s.kind = 'multi_point'
                then abs(e.robust_difference_50_percent) > 5 or abs(e.robust_difference_10_percent) > 10 end as w,
           greatest(c.lowest, c.spread) >= 3 as l, c.water >= 3 as f
    from read_parquet({session}) s
    left join (
        select session_id, max(level) filter (check_name = 'lowest_pressure') as lowest,
               max(level) filter (check_name = 'low_pressure_spread') as spread,
               max(level) filter (check_name = 'water_in_line') as water
        from read_parquet({checks})
        where rule_set = 'iso9972@2015' and level in (1, 3, 4)
              and check_name in ('lowest_pressure', 'low_pressure_spread', 'water_in_line')
        group by 1
    ) c using (session_id)
    left join (select * from read_parquet({estimates}) where rule_set = 'iso9972@2015') e using (session_id)
    where s.kind in ('single_point', 'two_point', 'multi_point')
) s
group by all order by all
"""


def _archive(root: Path) -> Path:
    """An archive of invented tests whose levels, verdicts and estimates are drawn by chance."""
    rng = np.random.default_rng(11)
    made = Store.create(root, Settings("Invented", rule_sets=("as_displayed", RULES)))
    sessions = many_sessions(TESTS)
    crew = pa.array([f"C{number}" for number in rng.integers(1, CREWS + 1, TESTS)])
    sessions = sessions.set_column(sessions.schema.get_field_index("crew"), sessions.schema.field("crew"), crew)
    groups = [sessions.slice(first, BATCH) for first in range(0, TESTS, BATCH)]
    version = log.read(root)
    added = parts.write(root, "session", groups, groups[0])
    log.append(version, [added], version.entry_number + 1, hides=False, tests=True)
    number = log.read(made.root).tests_number
    for name in ("as_displayed", RULES):
        checks = [rule.name for rule in ruleset.named(name).checks]
        derived.write(root, "checks", name, number, _rows(groups, "check_name", checks, rng, level=LEVELS))
        found = _rows(groups, "use", CHOICES["use"], rng, verdict=CHOICES["verdict"])
        derived.write(root, "verdicts", name, number, found)
    apart = {f"robust_difference_{at}_percent": rng.normal(0, 4, TESTS) for at in (50, 10, 4)}
    derived.write(root, "estimates", RULES, number, {"session_id": sessions["session_id"].combine_chunks(), **apart})
    return root


def _rows(
    groups: list[pa.Table], of: str, names: list[str] | tuple[str, ...], rng: np.random.Generator, **drawn: object
):
    """One row a test and name, name by name in each batch, as recomputing writes them."""
    ((column, values),) = drawn.items()
    tables = []
    for group in groups:
        for name in names:
            one = pa.array(values).take(pa.array(rng.integers(0, len(values), group.num_rows)))
            tables.append(
                pa.table({"session_id": group["session_id"], of: pa.repeat(name, group.num_rows), column: one})
            )
    return pa.concat_tables(tables)


def test_trends_over_a_hundred_thousand_tests_against_bare_duckdb(tmp_path: Path) -> None:
    root = _archive(tmp_path / "many")
    files = {"session": [str(path) for path in log.read(root).files["session"]]}
    for kind in ("checks", "estimates"):
        files[kind] = [str(one.path) for one in derived.listing(root) if one.kind == kind]
    sql = BARE.format(**files)
    import duckdb

    bare = duckdb.sql(sql).fetchall()
    table = trends(root).table
    counts = {(row[1], row[2]): row[3:6] for row in table.rows if row[0] == "crew"}
    assert len(bare) == CREWS and sum(row[1] for row in bare) == TESTS
    for crew, tests, *pairs in bare:
        found = [counts[crew, measure] for measure in ("differs_in_wind", "low_points_lost", "water_in_line")]
        assert found == [(tests, *pairs[at : at + 2]) for at in (0, 2, 4)]
    code = f"import duckdb\nfor row in duckdb.sql({sql!r}).fetchall(): print(*row)"
    sides = {
        "bare DuckDB": _process(code),
        "interchange trends": _process(MAIN, "trends", "--archive", str(root)),
    }
    taken = seconds(sides, 9)
    ratios = report("trends", "whole processes over 100,000 tests, the same Parquet files", taken, "bare DuckDB")
    assert ratios["interchange trends"] <= 3.0
