"""`duestroke import`: a plant's spreadsheets, all or nothing, every refused row named."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from datetime import UTC, datetime

import pytest
from openpyxl import Workbook, load_workbook
from pydantic import SecretStr

from duestroke.adoption import SHEETS
from duestroke.adoption.cells import text_of
from launch import cli, commands, importing
from launch.settings import Settings
from launch.spreadsheets import read_files, write_templates
from store.unit import Unit, connect

NOW = datetime(2026, 3, 1, 12, tzinfo=UTC)
POSITIONS = {
    "punch": "punch",
    "redraw-die": "redraw-die",
    "redraw-sleeve": "redraw-sleeve",
    "ring-1": "ironing-ring",
    "ring-2": "ironing-ring",
    "ring-3": "ironing-ring",
    "stripper": "stripper",
    "dome-die": "dome-die",
}
TABLES = ("press", "tool", "tool_event", "fit", "imported_life", "inspection", "question")


def local(*parts):
    """A time as a spreadsheet holds it, without an offset."""
    return datetime(*parts)  # noqa: DTZ001


def presses():
    names = [f"works/{line}/{number:02}" for line in (1, 2, 3) for number in range(1, 8)]
    names += [f"works/4/{number:02}" for number in range(1, 4)]
    return [{"press": name, "modulus": 65_536, "timezone": "Europe/London"} for name in names]


def plant():
    """Some 2,000 rows as a plant might have them, all of them right."""
    tools = [
        {"serial": f"T-{number:04}", "kind": list(POSITIONS.values())[number % 8], "batch": "B1"}
        for number in range(700)
    ]
    names = [row["press"] for row in presses()]
    fits = [
        {
            "press": names[number // 8],
            "position": list(POSITIONS)[number % 8],
            "serial": f"T-{number:04}",
            "at": local(2026, 2, 1 + number % 28, 6),
            "strokes": ["about 20 M", "20,000,000", 31_204_877, "unknown", "3.5 M"][number % 5],
        }
        for number in range(168)
    ]
    lives = [
        {
            "serial": f"OLD-{number:04}",
            "kind": list(POSITIONS.values())[number % 8],
            "position": list(POSITIONS)[number % 8],
            "strokes": ["31 M", 28_112_345, "about 25 M"][number % 3],
            "end": ["worn", "broken", "planned"][number % 3],
            "ended_at": "2025-11-18",
        }
        for number in range(800)
    ]
    looks = [
        {
            "serial": f"T-{number % 168:04}",
            "at": local(2026, 2, 28, 7 + number // 168),
            "verdict": "good" if number % 2 else None,
            "quantity": "bore",
            "value": 1.5,
            "unit": "um",
            "limit": 6,
        }
        for number in range(308)
    ]
    return {
        "presses": presses(),
        "tools": tools,
        "fits": fits,
        "lives": lives,
        "inspections": looks,
    }


FAULTS = {
    "presses": [("press", "Works 4"), ("modulus", 12), ("timezone", "Mars/North")],
    "tools": [
        ("serial", "T 0700"),
        ("kind", "wheel"),
        ("size_mm", "66,105"),
        ("size_mm", -1),
        ("kind", None),
    ],
    "fits": [
        ("press", "works/9/01"),
        ("position", "ring-9"),
        ("serial", "T-9999"),
        ("at", "01/02/2026"),
        ("strokes", "plenty"),
        ("at", local(2026, 4, 1)),
        ("position", "dome-die"),
        ("strokes", None),
    ],
    "lives": [
        ("kind", "punch!"),
        ("position", "ring-9"),
        ("strokes", "-3"),
        ("end", "tired"),
        ("ended_at", 45_000),
        ("kind", "dome-ring"),
        ("serial", None),
        ("strokes", "1e6"),
    ],
    "inspections": [
        ("serial", "T-9999"),
        ("at", "soon"),
        ("verdict", "fine"),
        ("value", "much"),
        ("unit", None),
        ("quantity", None),
        ("at", local(2026, 4, 1)),
        ("limit", 0),
    ],
}
"""What is written into which column. Each lands on a row of its own; the reason is ours to give."""


@dataclass(frozen=True)
class Planted:
    """A fault: where, and what stands there."""

    sheet: str
    row: int
    told: str
    value: str


def spoil(sheets, many):
    """Write that many faults into rows that nothing else rests on, far enough apart."""
    planted = []
    order = [(sheet, *fault) for sheet, faults in FAULTS.items() for fault in faults]
    taken = dict.fromkeys(sheets, 0)
    for number in range(many):
        sheet, column, cell = order[number % len(order)]
        if sheet == "presses" and number >= len(order):
            sheet, column, cell = "lives", "strokes", f"worn {number}"
        place = _place(sheet, taken, sheets)
        sheets[sheet][place] = sheets[sheet][place] | {column: cell}
        row = sheets[sheet][place]
        # A tool that does not go where the row says is named by its serial.
        told = "serial" if cell == "dome-die" else column
        planted.append(Planted(sheet, place + 2, told, text_of(row[told])))
    return planted


def _place(sheet, taken, sheets):
    """The next row to spoil: at the end of the sheet, or of tools that are fitted nowhere."""
    taken[sheet] += 1
    step = {"presses": 1, "fits": 11}.get(sheet, 3)
    if sheet == "fits":
        # Rings in step 2 hold no dome die, whatever else is wrong with the row.
        return taken[sheet] * 8 + 4
    return len(sheets[sheet]) - taken[sheet] * step


def workbook(folder, sheets):
    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        page = book.create_sheet(name.title())
        columns = [column.name for column in SHEETS[name].columns]
        page.append(columns)
        for row in rows:
            page.append([row.get(column) for column in columns])
    file = folder / "plant.xlsx"
    book.save(file)
    return file


def texts(folder, sheets, delimiter=","):
    folder.mkdir(exist_ok=True)
    for name, rows in sheets.items():
        columns = list(dict.fromkeys(key for row in rows for key in row))
        with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8-sig") as out:
            writer = csv.DictWriter(out, columns, delimiter=delimiter)
            writer.writeheader()
            writer.writerows(rows)
    return folder


def run(database_url, *paths, is_dry=False):
    said = []
    code = importing.run(database_url, paths, now=NOW, is_dry=is_dry, by="keeper", say=said.append)
    return code, said


def counts(database_url):
    with connect(database_url) as conn:
        return {
            name: conn.execute(f"SELECT count(*) AS n FROM {name}").fetchone()["n"]
            for name in TABLES
        }


def outcome(database_url, *paths, is_dry=False):
    found = read_files(paths)
    return importing.take_in(
        database_url, found, now=NOW, is_dry=is_dry, by="keeper", say=lambda _: None
    )


def test_two_thousand_rows_with_fifty_faults_name_all_fifty_and_change_nothing(
    database_url, tmp_path
):
    sheets = plant()
    assert sum(map(len, sheets.values())) == 2_000
    before = counts(database_url)
    planted = spoil(sheets, 50)
    file = workbook(tmp_path, sheets)
    for is_dry in (True, False):
        found = outcome(database_url, file, is_dry=is_dry).refusals
        named = {(one.sheet, one.row): one for one in found}
        assert set(named) == {(one.sheet, one.row) for one in planted}
        assert len(named) == 50
        assert all(one.reason and one.column for one in found)
        for one in planted:
            refusal = named[one.sheet, one.row]
            assert refusal.column == one.told, refusal
            assert refusal.value == one.value
        assert counts(database_url) == before
    code, said = run(database_url, file)
    assert code == 1
    assert said[-1] == "50 rows refused; nothing has changed"
    assert sum(line.startswith("tools, row") for line in said) == sum(
        one.sheet == "tools" for one in planted
    )


def test_corrected_it_goes_in_once_however_often_it_is_sent(database_url, tmp_path):
    file = workbook(tmp_path, plant())
    code, said = run(database_url, file, is_dry=True)
    assert (code, counts(database_url)["tool"]) == (0, 0)
    assert said[-1].endswith("a dry run, nothing has changed")
    code, said = run(database_url, file)
    assert code == 0
    assert "tools 700 new, 0 known" in said[-1]
    after = counts(database_url)
    assert (after["press"], after["tool"], after["tool_event"]) == (24, 700, 168)
    assert (after["imported_life"], after["inspection"]) == (800, 308)
    for again in (file, texts(tmp_path / "csv", plant()), texts(tmp_path / "semi", plant(), ";")):
        code, said = run(database_url, again)
        assert code == 0
        assert "tools 0 new, 700 known; fits 0 new, 168 known" in said[-1]
        assert "lives 0 new, 800 known; inspections 0 new, 308 known" in said[-1]
        assert counts(database_url) == after


def few(**changes):
    """A press, a ring in it, a past life and a look."""
    sheets = {
        "presses": [{"press": "works/1/01", "timezone": "Europe/London"}],
        "tools": [{"serial": "R1", "kind": "ironing-ring"}],
        "fits": [
            {
                "press": "works/1/01",
                "position": "ring-3",
                "serial": "R1",
                "at": "2025-07-01 06:00",
                "strokes": "about 20 M",
            }
        ],
        "lives": [
            {
                "serial": "R0",
                "kind": "ironing-ring",
                "position": "ring-3",
                "press": "works/1/01",
                "strokes": "about 30 M",
                "end": "worn",
                "ended_at": "2025-07-01",
            }
        ],
        "inspections": [{"serial": "R1", "at": "2025-07-02 07:00", "verdict": "good"}],
    }
    return sheets | changes


def lives(database_url):
    with connect(database_url) as conn:
        found = Unit(conn).lives.for_inference()
    return {life.serial: life for life in found}


def test_rounded_ages_become_intervals(database_url, tmp_path):
    assert run(database_url, texts(tmp_path / "t", few()))[0] == 0
    found = lives(database_url)
    worn, running = found["R0"], found["R1"]
    assert (worn.strokes_low, worn.strokes) == (29e6, 31e6)
    assert (running.entry_low, running.entry_strokes) == (19e6, 20e6)
    with connect(database_url) as conn:
        unit = Unit(conn)
        (fitted,) = unit.ledger.fitted()
        assert fitted.strokes_before == 20_000_000
        (row,) = unit.ledger.page(None)
        assert row.event.before_margin == 1_000_000


@pytest.mark.parametrize(
    ("end", "more", "expected"),
    [
        ("worn", {"strokes": 30_123_456}, (0, None, 30_123_456, None)),
        ("worn", {"strokes": "30 M", "strokes_low": "27 M"}, (0, None, 30.5e6, 26.5e6)),
        ("broken", {"strokes": "30 M"}, (0, None, 30e6, 29.5e6)),
        ("running", {"strokes": "30 M", "entry_strokes": "20 M"}, (20.5e6, 19.5e6, 30e6, 29.5e6)),
        ("planned", {"strokes": "9 M", "entry_strokes": "9 M"}, (9e6, 8.5e6, 9e6, 8.5e6)),
    ],
)
def test_ages_of_past_lives(database_url, tmp_path, end, more, expected):
    life = few()["lives"][0] | {"end": end} | more
    assert run(database_url, texts(tmp_path / "t", few(lives=[life])))[0] == 0
    got = lives(database_url)["R0"]
    assert (got.entry_strokes, got.entry_low, got.strokes, got.strokes_low) == expected


def test_times_without_an_offset_are_the_press_own(database_url, tmp_path):
    assert run(database_url, texts(tmp_path / "t", few()))[0] == 0
    with connect(database_url) as conn:
        (row,) = Unit(conn).ledger.page(None)
        (look,) = Unit(conn).inspections.page(None)
    assert row.event.at == datetime(2025, 7, 1, 5, tzinfo=UTC)
    assert look.inspection.at == datetime(2025, 7, 2, 6, tzinfo=UTC)
    assert (row.entered_by, row.entered_at) == ("keeper", NOW)
    assert lives(database_url)["R0"].ended_at == datetime(2025, 6, 30, 23, tzinfo=UTC)


CONTRADICTIONS = [
    ("fits", {"serial": "R2"}, "serial", "R1 is fitted"),
    ("fits", {"serial": "P1"}, "serial", "takes the kind"),
    ("fits", {"serial": "R1", "position": "ring-2"}, "serial", "R1 is fitted"),
    ("tools", {"serial": "R1", "kind": "punch"}, "serial", "another tool"),
    ("presses", {"press": "works/1/01", "modulus": 65_536}, "modulus", "registered with"),
]


@pytest.mark.parametrize(("sheet", "more", "column", "reason"), CONTRADICTIONS)
def test_rows_that_contradict_each_other_or_the_record(
    database_url, tmp_path, sheet, more, column, reason
):
    base = few()
    base["tools"] += [
        {"serial": "R2", "kind": "ironing-ring"},
        {"serial": "P1", "kind": "punch"},
    ]
    base["fits"][0]["at"] = "2025-07-01 05:00"
    extra = (base[sheet][0] if sheet == "fits" else {}) | more
    if sheet == "fits":
        extra["at"] = "2025-07-01 09:00"
    sheets = base | {sheet: [*base[sheet], extra]}
    (refusal,) = outcome(database_url, texts(tmp_path / "t", sheets)).refusals
    assert (refusal.sheet, refusal.row, refusal.column) == (sheet, len(sheets[sheet]) + 1, column)
    assert reason in refusal.reason
    assert run(database_url, texts(tmp_path / "t", base))[0] == 0
    (refusal,) = outcome(database_url, texts(tmp_path / "t", sheets)).refusals
    assert reason in refusal.reason


def test_what_rests_on_a_refused_row_is_not_refused_for_it(database_url, tmp_path):
    sheets = few(tools=[{"serial": "R1", "kind": "ironing-ring", "size_mm": "wide"}])
    (refusal,) = outcome(database_url, texts(tmp_path / "t", sheets)).refusals
    assert (refusal.sheet, refusal.column) == ("tools", "size_mm")
    sheets = few(tools=[{"serial": "R1", "kind": "wheel"}])
    (refusal,) = outcome(database_url, texts(tmp_path / "t", sheets)).refusals
    assert (refusal.sheet, refusal.column) == ("tools", "kind")


def test_what_should_be_looked_at_is_said(database_url, tmp_path):
    looks = few()["inspections"]
    looks += [
        {"serial": "R1", "at": f"2025-07-0{day}", "quantity": "bore", "value": value, "unit": "um"}
        for day, value in ((3, 5.0), (4, 0.4))
    ]
    looks = [row | {"limit": 6} if "value" in row else row for row in looks]
    sheets = few(inspections=looks)
    sheets["notes"] = [{"anything": "at all"}]
    sheets["tools"][0]["colour"] = "red"
    code, said = run(database_url, texts(tmp_path / "t", sheets))
    assert code == 0
    assert any("passed over 'notes'" in line for line in said)
    assert any("of no use here: colour" in line for line in said)
    assert any("wear does not go back" in line for line in said)


def test_a_file_that_is_no_spreadsheet_is_refused_in_a_line(database_url, tmp_path):
    for name, text in (("a.xlsx", "no zip"), ("b.txt", "x")):
        file = tmp_path / name
        file.write_text(text, encoding="utf-8")
        code, said = run(database_url, file)
        assert (code, len(said)) == (1, 1)
        assert name in said[0]
    assert run(database_url, tmp_path / "none.csv")[0] == 1
    latin = tmp_path / "tools.csv"
    latin.write_bytes("serial,kind\nR\xfc,punch\n".encode("latin-1"))
    assert run(database_url, latin)[0] == 1


def test_a_template_is_empty_and_says_what_each_column_takes(database_url, tmp_path):
    made = write_templates(tmp_path / "t")
    code, said = run(database_url, *made)
    assert (code, said[-1]) == (0, "nothing to take in")
    book = load_workbook(tmp_path / "t" / "adoption.xlsx")
    assert book.sheetnames == ["columns", *SHEETS]
    guide = list(book["columns"].iter_rows(values_only=True))
    for sheet in SHEETS.values():
        headings = [cell.value for cell in next(book[sheet.name].iter_rows())]
        assert headings == [column.name for column in sheet.columns]
        for column in sheet.columns:
            assert any(row[:2] == (sheet.name, column.name) and row[3] for row in guide)


def test_the_command_itself(database_url, tmp_path, capsys):
    settings = Settings(database_url=SecretStr(database_url))
    given = {"paths": [texts(tmp_path / "t", few())], "template": None, "by": "A. Keeper"}
    assert commands.adopt(settings, is_dry=True, **given) == 0
    assert "a dry run" in capsys.readouterr().out
    assert commands.adopt(settings, is_dry=False, **given) == 0
    assert "tools 1 new" in capsys.readouterr().out
    with connect(database_url) as conn:
        assert Unit(conn).ledger.page(None)[0].entered_by == "A. Keeper"
    assert cli.main(["import", "--template", str(tmp_path / "new")]) == 0
    assert (tmp_path / "new" / "csv" / "fits.csv").exists()
    assert cli.main(["import"]) == 2
    assert "--template" in capsys.readouterr().err
