"""Views over one document of every kind: those that schema/session/1/examples shows."""

from __future__ import annotations

import json
from pathlib import Path

import pyarrow as pa
import pytest
from archive_samples import imported, of_record, source

from interchange.archive import query, view_columns, views
from interchange.archive.settings import Settings
from interchange.archive.store import Store
from interchange.model import document
from interchange.model.question import Import, Trace
from interchange.model.session import Session
from interchange.operations.listing import list_tests
from interchange.operations.recompute import leakage_table, recompute_archive

EXAMPLES = Path(__file__).parent.parent.parent / "schema" / "session" / "1" / "examples"
KINDS = {
    path.name.removesuffix(".session.json"): document.load(json.loads(path.read_text()), path.name)
    for path in EXAMPLES.iterdir()
}


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """The examples, and a duct test that has come with a run as if it were one of the envelope."""
    store = Store.create(tmp_path_factory.mktemp("kinds") / "archive", Settings("P"))
    duct = KINDS["other_test"].model_copy(update={"runs": KINDS["single_point"].runs})
    examples = [*KINDS.items(), ("duct with a run", duct)]
    store.commit([_imported(name, session) for name, session in examples])
    return store


def _imported(name: str, session: Session) -> Import:
    of = source(name.encode(), f"{name}.csv")
    own = of_record(of, "file").model_copy(
        update={"companions": session.source.companions, "answers_used": session.source.answers_used}
    )
    session = session.model_copy(update={"session_id": document.session_id(of.sha256, "file"), "source": own})
    traces = [
        Trace(session.session_id, one.channel_id, 0.0, one.interval_s, None, pa.array([1.5] * one.sample_count))
        for one in session.channels
    ]
    return imported(of, session, traces=traces)


@pytest.mark.parametrize(
    ("sql", "rows"),
    [
        ("SELECT kind, count(*) FROM sessions GROUP BY kind ORDER BY kind",
         [(kind, 2 if kind == "other_test" else 1) for kind in sorted(KINDS)]),
        ("SELECT opening, opening_state FROM openings ORDER BY opening",
         [("attic hatch", "unknown"), ("basement door", "open"), ("dryer vent", "sealed"),
          ("fireplace damper", "closed")]),
        ("SELECT DISTINCT other_pressure_pa, other_flow_m3_h FROM other_readings ORDER BY ALL",
         [(-0.4, None), (25.1, 188.0)]),
        ("SELECT calibration_index, fan_id, calibration_pressure_pa, calibration_flow_m3_h FROM calibration_points "
         "ORDER BY calibration_pressure_pa LIMIT 2", [(0, "1", 10.0, 1010.0), (0, "1", 25.0, 1580.0)]),
        ("SELECT calibration_index, fan_coefficient_m3_h FROM fan_calibrations ORDER BY ALL", [(0, None), (1, 171.0)]),
        ("SELECT companion_role, companion_name FROM companions", [("baseline", "FV-2036-baseline.csv")]),
        ("SELECT question_id, answer_value FROM answers_used", [("5b1d0c9a7e42", "inside_minus_outside")]),
        ("SELECT station_id, station_latitude_deg, wind_height_m, source_name FROM weather_records",
         [("OL-03", 44.9, 10.0, "weather.csv")]),
        ("SELECT quantity FROM channels JOIN weather_records USING (session_id) WHERE missing_count > 1",
         [("wind_gust_m_s",)]),
        ("SELECT job_id FROM sessions WHERE list_contains(from_register, 'fan_serial')", [("FV-3015",)]),
        ("SELECT exhaust_fans, direction_reason FROM sessions WHERE exhaust_fans IS NOT NULL",
         [("off", "both directions asked for by the programme")]),
    ],
)  # fmt: skip
def test_the_views_show_every_kind_of_record(store: Store, sql: str, rows: list[tuple[object, ...]]) -> None:
    assert list(query.query(store.root, sql).rows) == rows


@pytest.mark.parametrize("view", ["runs", "points", "fan_readings"])
def test_readings_of_another_test_are_not_among_those_of_envelopes(store: Store, view: str) -> None:
    sql = f"SELECT DISTINCT kind FROM {view} JOIN sessions USING (session_id) ORDER BY kind"
    assert list(query.query(store.root, sql).rows) == [("multi_point",), ("single_point",), ("two_point",)]


def test_no_view_of_sessions_hides_a_list_in_a_cell(store: Store) -> None:
    sql = "SELECT table_name, column_name FROM duckdb_columns() WHERE NOT internal AND data_type LIKE '%STRUCT%'"
    assert list(query.query(store.root, sql).rows) == [("journal", "problems"), ("journal", "questions")]


def test_columns_told_without_an_archive_are_those_of_one(store: Store) -> None:
    told = view_columns.columns()
    assert "weather_records" in told and told.keys() <= views.names()
    for view, columns in told.items():
        assert query.query(store.root, f"SELECT * FROM {view}").columns == columns


def test_results_are_of_fitted_kinds_only_and_weather_records_are_no_tests(store: Store) -> None:
    done = recompute_archive(store.root, ["as_displayed", "iso9972@2015", "astm-e1827-one-point@2011"])
    for kind in ("results", "checks", "verdicts"):
        sql = f"SELECT DISTINCT kind FROM {kind} JOIN sessions USING (session_id) ORDER BY kind"
        assert list(query.query(store.root, sql).rows) == [("multi_point",), ("single_point",), ("two_point",)]
    said = " ".join(leakage_table(store.root, done).left_out)
    assert "2 tests of kind other_test" in said and "weather" not in said
    listing = list_tests(store.root).table
    kinds = [row[listing.columns.index("kind")] for row in listing.rows]
    assert sorted(set(kinds)) == sorted(KINDS.keys() - {"weather"}) and len(kinds) == 8
    assert listing.left_out == ["1 weather record: no test; the view weather_records has them"]
