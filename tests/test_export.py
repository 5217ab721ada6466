"""Exports are read back by what others read them with, and say what they are."""

from __future__ import annotations

import csv
import io
import json
import resource
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import jsonschema
import msgspec
import pyarrow as pa
import pyarrow.parquet
import pytest

import tawny
from made_trace import STARTED_UTC_MS, made_part, made_samples
from tawny.core.trace import check_samples, stretches
from tawny.errors import InputError
from tawny.report.about import about
from tawny.report.columns import COLUMNS
from tawny.report.export import csv_text, export_part, json_text, rows_text
from tawny.report.read_back import read_export

FIRST_STEP = Path(__file__).parent / "kept" / "part-trace-1.json"
SCHEMA = Path(tawny.__file__).parent / "data" / "schemas" / "part-trace-1.json"
NAMES = [column.name for column in COLUMNS]


def read_csv(path: Path) -> list[dict[str, str]]:
    """Read a CSV file as the standard library does."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_csv_has_one_header_and_one_row_for_each_sample(tmp_path: Path) -> None:
    """RFC 4180: CRLF line ends, one header, each row as long as the header, no blank row."""
    part = made_part()
    path, _ = export_part(part, tmp_path, "csv")
    data = path.read_bytes()
    rows = read_csv(path)

    assert data.count(b"\r\n") == data.count(b"\n") == 1 + len(part.samples.t_s)
    assert not data.startswith(b"\xef\xbb\xbf")
    assert list(rows[0]) == NAMES
    assert {"t_s", "phase", "upper_c", "lower_c", "setpoint_c", "upper_duty", "lower_duty"} <= set(
        NAMES
    )
    assert all(None not in row and None not in row.values() for row in rows)


def test_csv_gives_back_the_numbers(tmp_path: Path) -> None:
    """Numbers have a point and read back; an absent value is an empty cell, never a number."""
    samples = made_samples()
    rows = read_csv(export_part(made_part(samples=samples), tmp_path, "csv")[0])

    for name in ("t_s", "upper_c", "lower_c", "setpoint_c", "upper_duty", "lower_delivered"):
        found = [float(row[name]) if row[name] else None for row in rows]
        assert found == list(getattr(samples, name)), name
    assert [row["phase"] for row in rows] == [phase.value for phase in samples.phase]
    assert rows[505]["upper_c"] == ""
    assert rows[60]["event"] == "mark"


def test_csv_time_is_given_three_ways(tmp_path: Path) -> None:
    """Seconds as a number, UTC as ISO 8601, local time as spreadsheets take it."""
    row = read_csv(export_part(made_part(), tmp_path, "csv")[0])[3]

    assert row["t_s"] == "0.600"
    assert row["time_utc"] == "2026-11-24T23:00:00.600Z"
    local = datetime.fromtimestamp(STARTED_UTC_MS / 1000.0).astimezone()
    assert row["time_local"] == local.strftime("%Y-%m-%d %H:%M:%S")


def test_csv_for_decimal_commas_opens_in_columns() -> None:
    """Semicolons, decimal commas and a byte order mark; times and words are left alone."""
    text = csv_text(made_part(), comma=True)
    rows = list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff")), delimiter=";"))

    assert text.startswith("\ufefft_s;time_utc;")
    assert rows[3]["t_s"] == "0,600"
    assert rows[3]["time_utc"] == "2026-11-24T23:00:00.600Z"
    assert float(rows[3]["lower_c"].replace(",", ".")) == made_samples().lower_c[3]


def test_csv_below_zero_stays_a_number_and_text_is_no_formula() -> None:
    """A frosty reading is -5.00, never text; a name that begins like a formula is text."""
    samples = made_samples(2)
    cold = msgspec.structs.replace(samples, lower_c=(-5.0, -12.25))
    rows = list(csv.DictReader(io.StringIO(csv_text(made_part(samples=cold)))))
    listed = rows_text([{"operator": "=1+1", "lot": "-40", "peak_c": -5.0}])

    assert [row["lower_c"] for row in rows] == ["-5.00", "-12.25"]
    assert listed == "operator,lot,peak_c\r\n'=1+1,'-40,-5.0\r\n"


def test_csv_is_accompanied_by_what_it_cannot_carry(tmp_path: Path) -> None:
    """The file beside it names schema, units, recipe, operator and hashes."""
    _, beside = export_part(made_part(), tmp_path, "csv")
    said = json.loads(beside.read_text(encoding="utf-8"))

    jsonschema.validate(said, json.loads(SCHEMA.read_text()))
    assert beside.name == "SIMULATED-P0142-K.about.json"
    assert said["schema"] == {"name": "tawny-part-trace", "version": 1}
    assert said["pressing"]["operator"] == "Ada"
    assert {column["name"]: column["unit"] for column in said["columns"]}["upper_c"] == "degC"


def test_json_export_fits_its_schema(tmp_path: Path) -> None:
    """An independent validator accepts it, and refuses it with a wrong version or a bad cell."""
    (path,) = export_part(made_part(), tmp_path, "json")
    said: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    schema = json.loads(SCHEMA.read_text())
    jsonschema.Draft202012Validator.check_schema(schema)

    jsonschema.validate(said, schema)
    for broken in (
        {**said, "schema": {"name": "tawny-part-trace", "version": 2}},
        {**said, "samples": {**said["samples"], "upper_duty": [1.5]}},
        {key: value for key, value in said.items() if key != "simulated"},
    ):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(broken, schema)


def test_json_export_gives_back_the_columns() -> None:
    """The same columns as CSV, by name, with null for an absent value."""
    samples = made_samples()
    said = json.loads(json_text(made_part(samples=samples)))

    assert list(said["samples"]) == NAMES
    assert said["samples"]["upper_c"] == list(samples.upper_c)
    assert said["samples"]["phase"][0] == "close"


def test_parquet_reads_back_with_units_and_zone(tmp_path: Path) -> None:
    """Microseconds in UTC, 64-bit floats, null for absent, the unit in each field's metadata."""
    samples = made_samples()
    (path,) = export_part(made_part(samples=samples), tmp_path, "parquet")
    table = pyarrow.parquet.read_table(path)

    assert table.column_names == NAMES
    assert table.schema.field("time_utc").type == pa.timestamp("us", tz="UTC")
    assert table.schema.field("upper_c").type == pa.float64()
    assert table.schema.field("upper_c").metadata == {b"unit": b"degC"}
    assert table["upper_c"].to_pylist() == list(samples.upper_c)
    assert table["time_utc"][3].as_py() == datetime(2026, 11, 24, 23, 0, 0, 600_000, tzinfo=UTC)
    said = json.loads(table.schema.metadata[b"tawny"])
    assert said == json.loads(json.dumps(about(made_part(samples=samples))))


def test_parquet_without_its_extra_is_one_sentence() -> None:
    """Where pyarrow is missing the sentence names the extra and what works without it."""
    script = (
        "import sys; sys.modules['pyarrow'] = None\n"
        "from made_trace import made_part, made_samples\n"
        "from tawny.errors import InputError\n"
        "from tawny.report.export import parquet_bytes\n"
        "try:\n"
        "    parquet_bytes(made_part())\n"
        "except InputError as error:\n"
        "    print(error)\n"
    )
    answer = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parent,
    ).stdout

    assert "install tawny with its parquet extra, or export as csv or json" in answer


def test_export_says_simulated_everywhere(tmp_path: Path) -> None:
    """The file's name, each row and the metadata; a real part says RECORDED instead."""
    for form in ("csv", "json", "parquet"):
        for path in export_part(made_part(), tmp_path, form):
            assert path.name.startswith("SIMULATED-")
    real = json.loads(json_text(made_part(simulated=False)))
    played = json.loads(json_text(made_part(simulated=True)))

    assert (real["simulated"], set(real["samples"]["source"])) == (False, {"RECORDED"})
    assert (played["simulated"], set(played["samples"]["source"])) == (True, {"SIMULATED"})


def test_export_in_an_unknown_format_names_the_known_ones(tmp_path: Path) -> None:
    """The sentence lists what can be chosen, and nothing is written."""
    with pytest.raises(InputError, match="xls is not known; choose one of csv, json, parquet"):
        export_part(made_part(), tmp_path, "xls")
    assert list(tmp_path.iterdir()) == []


def test_export_that_cannot_be_written_is_one_sentence(tmp_path: Path) -> None:
    """A file in the folder's place, or no room, is named with what to do; no half file stays."""
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="file is a file, not a folder; choose another folder"):
        export_part(made_part(), tmp_path / "file", "csv")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    try:  # the kernel refuses the bytes that no longer fit, as a full disk does
        resource.setrlimit(resource.RLIMIT_FSIZE, (4096, hard))
        with pytest.raises(InputError, match=r"P0142-K.csv cannot be written: File too large"):
            export_part(made_part(), tmp_path / "out", "csv")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert list((tmp_path / "out").iterdir()) == []


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"upper_c": (1.0,)}, "column upper_c has 1 rows, wanted 2"),
        ({"t_s": (0.0, 0.0)}, "time 0.0 s does not come after 0.0 s"),
        ({"t_s": (0.0, float("nan"))}, "time nan s"),
        ({"lower_duty": (0.5, float("inf"))}, "column lower_duty holds inf"),
    ],
)
def test_export_refuses_a_trace_that_is_not_whole(
    change: dict[str, tuple[float, ...]], sentence: str
) -> None:
    """Columns of unequal length, time that stands still and non-finite numbers never go out."""
    with pytest.raises(InputError, match=sentence):
        check_samples(msgspec.structs.replace(made_samples(2), **change))


def test_trace_phases_follow_each_other_without_a_gap() -> None:
    """Each stretch ends where the next begins, and together they cover the trace."""
    samples = made_samples()
    found = list(stretches(samples))

    assert [stretch.phase.value for stretch in found] == [
        "close",
        "breathe",
        "hold",
        "release",
        "open",
    ]
    assert [stretch.end_s for stretch in found[:-1]] == [stretch.start_s for stretch in found[1:]]
    assert (found[0].start_s, found[-1].end_s) == (samples.t_s[0], samples.t_s[-1])


def test_json_export_reads_back_as_it_was(tmp_path: Path) -> None:
    """Part, pressing and every sample come back the same."""
    part = made_part()
    (path,) = export_part(part, tmp_path, "json")

    assert read_export(path) == part


def test_export_of_the_first_version_opens_for_ever() -> None:
    """A file written by the first version of the format still means the same."""
    part = read_export(FIRST_STEP)

    assert (part.part_id, part.record.pressing_id) == ("P0007-V", "C0005-E")
    assert part.record.recipe.name == "oat hull plate"
    assert part.samples.t_s == (0.0, 0.2, 0.4)
    assert part.samples.upper_c == (171.9, None, 172.1)
    assert part.samples.utc_ms[2] - part.samples.utc_ms[0] == 400
    assert part.samples.event == ("", "breath", "")


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('"version": 1', '"version": 2', "has version 2, this program reads up to 1; update"),
        ('"tawny-part-trace"', '"other"', "its schema is not tawny-part-trace"),
        ('"t_s": [0.0, 0.2', '"t_s": [0.0, 0.0', "time 0.0 s does not come after"),
        ('"t_s": [0.0, ', '"t_s": [', "wanted 2"),
        ('"upper_c": [171.9', '"upper_c": ["warm"', "is not a whole export"),
        ('"cavity"', '"hole"', "is not a whole export"),
        ('{"schema"', '["schema"', "is not JSON"),
    ],
)
def test_export_that_cannot_be_read_is_one_sentence(
    tmp_path: Path, old: str, new: str, sentence: str
) -> None:
    """Newer, foreign, cut or changed: each is told, none is half read."""
    text = FIRST_STEP.read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "part.json"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")

    with pytest.raises(InputError, match=sentence):
        read_export(path)
