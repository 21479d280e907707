"""A hundred tables that are easily read shifted, each with what it truly says.

Every table is one invented drive. Every value occurs once, so that a number in a wrong row or
column is told from the right one. ``outcomes`` names what a reader may do with the file:

* ``right``: everything is read;
* ``asked``: something is left out, and a problem says so;
* ``refused``: the file is not read, and the refusal says why.

``line`` is the line of the file that the problem or refusal has to name, ``column`` the heading.
No outcome allows a number that is not the file's own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

RIGHT, ASKED, REFUSED = "right", "asked", "refused"
HONEST = frozenset({ASKED, REFUSED})
ANY = frozenset({RIGHT, ASKED, REFUSED})
ONLY_RIGHT = frozenset({RIGHT})

SPEED, COOLANT, OIL, VOLTS = (
    "engine_speed",
    "coolant_temperature",
    "oil_pressure",
    "battery_voltage",
)
NAMES = ["Time [s]", "Engine Speed [rpm]", "Coolant Temp [degC]", "Oil Pressure [kPa]"]
BARE = ["Time", "Engine Speed", "Coolant Temp", "Oil Pressure"]
UNITS = ["s", "rpm", "degC", "kPa"]

Truth = dict[str, list[float | None]]


@dataclass(frozen=True)
class Table:
    """One file: its text, what it says, and what a reader may do with it."""

    name: str
    text: str
    truth: Truth
    time: list[float] | None
    outcomes: frozenset[str]
    line: int | None = None
    column: str = ""


def seconds(row: int) -> float:
    return row * 0.5


def rpm(row: int) -> float:
    return 650.25 + row * 1.5


def degc(row: int) -> float:
    return round(20.1 + row * 0.125, 3)


def kpa(row: int) -> float:
    return round(210.7 + row * 0.4, 2)


def volts(row: int) -> float:
    return round(12.01 + row * 0.003, 3)


def cells(row: int) -> list[str]:
    return [f"{seconds(row):.1f}", f"{rpm(row):.2f}", f"{degc(row):.3f}", f"{kpa(row):.2f}"]


def comma(row: int) -> list[str]:
    return [c.replace(".", ",") for c in cells(row)]


def truth(count: int, *, start: int = 0) -> Truth:
    rows = range(start, count)
    return {
        SPEED: [rpm(n) for n in rows],
        COOLANT: [degc(n) for n in rows],
        OIL: [kpa(n) * 1000.0 for n in rows],
    }


def times(count: int) -> list[float]:
    return [seconds(n) for n in range(count)]


def text_of(
    rows: Sequence[Sequence[str]],
    delimiter: str,
    names: Sequence[str] | None = None,
    end: str = "\n",
) -> str:
    lines = [delimiter.join(NAMES if names is None else names)] if names != [] else []
    return end.join([*lines, *(delimiter.join(r) for r in rows)]) + end


def changed(
    count: int,
    change: dict[int, Callable[[list[str]], list[str]]],
    made: Callable[[int], list[str]] = cells,
) -> list[list[str]]:
    return [change.get(n, list)(made(n)) for n in range(count)]


def with_blank(at: int) -> Callable[[list[str]], list[str]]:
    return lambda row: [*row[:at], "", *row[at:]]


def without(at: int) -> Callable[[list[str]], list[str]]:
    return lambda row: [*row[:at], *row[at + 1 :]]


def put(at: int, cell: str) -> Callable[[list[str]], list[str]]:
    return lambda row: [*row[:at], cell, *row[at:]]


def instead(at: int, cell: str) -> Callable[[list[str]], list[str]]:
    return lambda row: [*row[:at], cell, *row[at + 1 :]]


def torn(at: int) -> Callable[[list[str]], list[str]]:
    """A decimal comma in a table with commas: one number becomes two cells."""
    return lambda row: [*row[:at], *row[at].split("."), *row[at + 1 :]]


def long_rows() -> list[Table]:
    found = []
    for name, count, at, delimiter, change in (
        ("torn number, early", 60, 20, ",", torn(1)),
        ("torn number, late", 500, 430, ",", torn(2)),
        ("blank cell put in", 120, 100, ";", with_blank(1)),
        ("blank cell put in, bars", 300, 250, "|", with_blank(2)),
        ("cell put in, tabs", 300, 7, "\t", put(1, "77.7")),
        ("cell behind the last one", 200, 150, ",", put(4, "13.9")),
        ("second time stamp put in", 90, 45, ",", put(0, "22.75")),
    ):
        rows = changed(count, {at: change})
        found.append(
            Table(
                f"long row: {name}",
                text_of(rows, delimiter),
                truth(count),
                times(count),
                HONEST,
                line=at + 2,
            )
        )
    rows = changed(80, {n: torn(1) for n in range(10, 80, 2)})
    found.append(
        Table(
            "long row: every second one", text_of(rows, ","), truth(80), times(80), HONEST, line=12
        )
    )
    rows = [[*cells(n), f"{volts(n):.3f}"] for n in range(70)]
    found.append(
        Table(
            "long row: every one, a column without heading at the end",
            text_of(rows, ","),
            truth(70),
            times(70),
            ANY,
        )
    )
    rows = [[*cells(n), ""] for n in range(70)]
    found.append(
        Table(
            "long row: a delimiter behind every row",
            text_of(rows, ","),
            truth(70),
            times(70),
            ONLY_RIGHT,
        )
    )
    return found


def short_rows() -> list[Table]:
    found = []
    for name, count, at, delimiter, lost in (
        ("speed lost", 60, 30, ",", 1),
        ("coolant lost, late", 500, 444, ",", 2),
        ("speed lost in the first row", 60, 0, ",", 1),
        ("coolant lost in the last row", 60, 59, ";", 2),
        ("time lost", 200, 101, "\t", 0),
        ("speed lost, bars", 200, 199, "|", 1),
    ):
        rows = changed(count, {at: without(lost)})
        found.append(
            Table(
                f"short row: {name}",
                text_of(rows, delimiter),
                truth(count),
                times(count),
                HONEST,
                line=at + 2,
            )
        )
    rows = changed(100, {n: without(1) for n in range(9, 100, 10)})
    found.append(
        Table("short row: every tenth", text_of(rows, ","), truth(100), times(100), HONEST, line=11)
    )
    rows = changed(100, {n: without(2) for n in range(40, 100)})
    found.append(
        Table(
            "short row: all from one on",
            text_of(rows, ","),
            truth(100),
            times(100),
            HONEST,
            line=42,
        )
    )
    rows = changed(90, {50: without(1)})
    found.append(
        Table(
            "short row: a blank for a value in a table with blanks",
            text_of(rows, " ", ["Time[s]", "RPM[rpm]", "ECT[degC]", "OilPress[kPa]"]),
            truth(90),
            times(90),
            HONEST,
            line=52,
        )
    )
    rows = changed(80, {n: lambda row: row[:2] for n in (30, 31)})
    found.append(
        Table(
            "short row: two cells lost", text_of(rows, ","), truth(80), times(80), HONEST, line=32
        )
    )
    return found


def numbered_rows() -> list[Table]:
    found = []
    count = 70
    numbered = [[str(n), *cells(n)] for n in range(count)]
    quoted = [[f'"{n + 1}"', *cells(n)] for n in range(count)]
    untimed = [[str(n), *cells(n)[1:]] for n in range(count)]
    found.append(
        Table(
            "row number without heading",
            text_of(numbered, ",", ["", *NAMES]),
            truth(count),
            times(count),
            ONLY_RIGHT,
        )
    )
    found.append(
        Table(
            "row number, one heading fewer",
            text_of(numbered, ",", NAMES),
            truth(count),
            times(count),
            ANY,
        )
    )
    found.append(
        Table(
            "row names in quotes, one heading fewer",
            text_of(quoted, ",", NAMES),
            truth(count),
            times(count),
            ANY,
        )
    )
    found.append(
        Table(
            "row number, one heading fewer, tabs",
            text_of(numbered, "\t", NAMES),
            truth(count),
            times(count),
            ANY,
        )
    )
    words = [[f"unit{n:03d}", *cells(n)] for n in range(count)]
    found.append(
        Table(
            "words in front, one heading fewer",
            text_of(words, ";", NAMES),
            truth(count),
            times(count),
            ANY,
        )
    )
    found += [
        Table(
            f"row number under '{heading}', no time",
            text_of(untimed, ",", [heading, *NAMES[1:]]),
            truth(count),
            None,
            ANY,
        )
        for heading in ("#", "Index", "Sample No.", "Row")
    ]
    found.append(
        Table(
            "row number without heading, no time",
            text_of(untimed, ",", ["", *NAMES[1:]]),
            truth(count),
            None,
            ANY,
        )
    )
    return found


def fixed(rows: Sequence[Sequence[str]], names: Sequence[str], width: int, *, left: bool) -> str:
    lines = [names, *rows]
    return "".join(
        "".join(c.ljust(width) if left else c.rjust(width) for c in line).rstrip() + "\n"
        for line in lines
    )


def fixed_width() -> list[Table]:
    found = []
    names = ["Time s", "Engine Speed rpm", "Coolant Temp degC", "Oil Pressure kPa"]
    count = 60
    rows = [cells(n) for n in range(count)]
    for left in (True, False):
        for head, what in (
            (names, "several words"),
            (NAMES, "several words and brackets"),
            (["Time", "Engine speed", "Coolant temp", "Oil pressure"], "no units"),
        ):
            said = (
                truth(count)
                if what != "no units"
                else {
                    SPEED: truth(count)[SPEED],
                    COOLANT: truth(count)[COOLANT],
                    OIL: truth(count)[OIL],
                }
            )
            found.append(
                Table(
                    f"fixed width, {'left' if left else 'right'}, {what}",
                    fixed(rows, head, 22, left=left),
                    said,
                    times(count),
                    ANY,
                )
            )
    gap = [r if n not in {20, 21} else [r[0], "", r[2], r[3]] for n, r in enumerate(rows)]
    said = truth(count)
    said[SPEED][20] = said[SPEED][21] = None
    found.append(
        Table(
            "fixed width, a value missing in the middle",
            fixed(gap, names, 22, left=True),
            said,
            times(count),
            ANY,
        )
    )
    tight = ["Engine Speed", "Time", "Coolant Temp", "Oil Pressure kPa"]
    found.append(
        Table(
            "fixed width, words in another order",
            fixed([[r[1], r[0], r[2], r[3]] for r in rows], tight, 18, left=True),
            truth(count),
            times(count),
            ANY,
        )
    )
    found.append(
        Table(
            "one blank between words and cells",
            text_of(rows, " ", ["Time", "Engine Speed", "Coolant Temp", "Oil Pressure"]),
            truth(count),
            times(count),
            ANY,
        )
    )
    same = ["Time", "Engine RPM", "Oil", "Coolant"]
    found.append(
        Table(
            "fixed width, words as many as cells by chance",
            fixed(
                [[r[0], r[1], r[3], r[2], f"{volts(n):.3f}"] for n, r in enumerate(rows)],
                same,
                14,
                left=True,
            ),
            truth(count),
            times(count),
            ANY,
        )
    )
    return found


def blank_leads() -> list[Table]:
    found = []
    count = 80
    rows = [cells(n) for n in range(count)]
    for blank in (1, 3, 12):
        found.append(
            Table(
                f"{blank} empty lines below the headings",
                text_of([[""]] * blank + rows, ","),
                truth(count),
                times(count),
                ONLY_RIGHT,
            )
        )
        lead = [["", "", "", ""]] * blank
        found.append(
            Table(
                f"{blank} rows of blank cells below the headings",
                text_of(lead + rows, ";"),
                truth(count),
                times(count),
                ANY,
            )
        )
    found.append(
        Table(
            "empty lines above the headings",
            "\n\n\n" + text_of(rows, ","),
            truth(count),
            times(count),
            ONLY_RIGHT,
        )
    )
    for lead in (5, 45):
        late = [[r[0], "", "", r[3]] if n < lead else r for n, r in enumerate(rows)]
        said = truth(count)
        for n in range(lead):
            said[SPEED][n] = said[COOLANT][n] = None
        found.append(
            Table(
                f"two columns blank for {lead} rows",
                text_of(late, ","),
                said,
                times(count),
                ONLY_RIGHT,
            )
        )
    late = [[r[0], "", "", ""] if n < 30 else r for n, r in enumerate(rows)]
    said = truth(count)
    for n in range(30):
        said[SPEED][n] = said[COOLANT][n] = said[OIL][n] = None
    found.append(Table("only the time for 30 rows", text_of(late, "\t"), said, times(count), ANY))
    return found


def blank_columns() -> list[Table]:
    found = []
    count = 60
    rows = [cells(n) for n in range(count)]
    spread = [[r[0], "", r[1], "", r[2], "", r[3]] for r in rows]
    spread_names = [NAMES[0], "", NAMES[1], "", NAMES[2], "", NAMES[3]]
    found += [
        Table(
            f"a blank column behind every column, parted by {delimiter!r}",
            text_of(spread, delimiter, spread_names),
            truth(count),
            times(count),
            ONLY_RIGHT,
        )
        for delimiter in (",", ";", "\t")
    ]
    found.append(
        Table(
            "headings without the blank columns",
            text_of(spread, ",", NAMES),
            truth(count),
            times(count),
            ANY,
        )
    )
    found.append(
        Table(
            "headings without the blank columns, tabs",
            text_of(spread, "\t", NAMES),
            truth(count),
            times(count),
            ANY,
        )
    )
    lead = [["", *r] for r in rows]
    found.append(
        Table(
            "a blank column in front, headings without it",
            text_of(lead, ",", NAMES),
            truth(count),
            times(count),
            ANY,
        )
    )
    found.append(
        Table(
            "a blank column in front, with a blank heading",
            text_of(lead, ",", ["", *NAMES]),
            truth(count),
            times(count),
            ONLY_RIGHT,
        )
    )
    found.append(
        Table(
            "headings over blank columns beside the values",
            text_of(spread, ",", ["", NAMES[0], "", NAMES[1], "", NAMES[2], NAMES[3]]),
            truth(count),
            times(count),
            ANY,
        )
    )
    one = [[r[0], r[1], "", r[2], r[3]] for r in rows]
    found.append(
        Table(
            "one blank column, headings without it",
            text_of(one, ";", NAMES),
            truth(count),
            times(count),
            ANY,
        )
    )
    found.append(
        Table(
            "a blank heading over values",
            text_of(
                [[*r[:2], f"{volts(n):.3f}", *r[2:]] for n, r in enumerate(rows)],
                ",",
                [*NAMES[:2], "", *NAMES[2:]],
            ),
            truth(count),
            times(count),
            ONLY_RIGHT,
        )
    )
    return found


def late_marks() -> list[Table]:
    found = []

    for count, at in ((150, 140), (300, 290), (600, 580), (600, 500)):
        # The speed is 1.xxx from there on, without decimals: 860 to 1,549 rpm.
        rows = [comma(n) for n in range(count)]
        said = truth(count)
        value = 1100 + at
        rows[at] = [rows[at][0], f"1.{value - 1000:03d}", *rows[at][2:]]
        said[SPEED][at] = float(value)
        found.append(
            Table(
                f"decimal commas, then 1.{value - 1000:03d} in row {at} of {count}",
                text_of(rows, ";"),
                said,
                times(count),
                ANY,
            )
        )
    for count, at in ((150, 140), (600, 500)):
        rows = [comma(n) for n in range(count)]
        said = truth(count)
        rows[at] = [rows[at][0], "1.234,75", *rows[at][2:]]
        said[SPEED][at] = 1234.75
        found.append(
            Table(
                f"decimal commas, then 1.234,75 in row {at} of {count}",
                text_of(rows, ";"),
                said,
                times(count),
                ANY,
            )
        )
    for count, at in ((150, 140), (600, 500)):
        rows = [cells(n) for n in range(count)]
        said = truth(count)
        rows[at] = [rows[at][0], "1,321", *rows[at][2:]]
        said[SPEED][at] = 1321.0
        found.append(
            Table(
                f"decimal points, then 1,321 in row {at} of {count}",
                text_of(rows, ";"),
                said,
                times(count),
                ANY,
            )
        )
    rows = [[r[0].replace(",", "."), *r[1:]] for r in (comma(n) for n in range(200))]
    found.append(
        Table(
            "times with points, values with commas", text_of(rows, ";"), truth(200), times(200), ANY
        )
    )
    rows = [comma(n) if n < 150 else cells(n) for n in range(300)]
    found.append(
        Table(
            "decimal commas, then decimal points", text_of(rows, "\t"), truth(300), times(300), ANY
        )
    )
    return found


def times_without_unit() -> list[Table]:
    found = []
    count = 80

    def made(
        name: str,
        stamp: Callable[[int], str],
        said: Callable[[int], float],
        outcomes: frozenset[str] = ANY,
        head: str = "Time",
    ) -> None:
        rows = [[stamp(n), *cells(n)[1:]] for n in range(count)]
        found.append(
            Table(
                f"time without unit: {name}",
                text_of(rows, ",", [head, *NAMES[1:]]),
                truth(count),
                [said(n) for n in range(count)],
                outcomes,
            )
        )

    made("seconds with decimals", lambda n: f"{n * 0.5:.1f}", lambda n: n * 0.5, ONLY_RIGHT)
    made("whole seconds", str, float, ONLY_RIGHT)
    made("50 ms steps", lambda n: str(n * 50), lambda n: n * 0.05)
    made("10 ms steps", lambda n: str(n * 10), lambda n: n * 0.01)
    made("uneven ms", lambda n: str(n * 97 + n % 7), lambda n: (n * 97 + n % 7) / 1000.0)
    made("ms, stamps that repeat", lambda n: str(n // 4 * 200), lambda n: n // 4 * 0.2)
    made(
        "ms that begin with single steps",
        lambda n: str(n if n < 45 else 45 + (n - 45) * 100),
        lambda n: (n if n < 45 else 45 + (n - 45) * 100) / 1000.0,
    )
    made("ms in the first column called t", lambda n: str(n * 20), lambda n: n * 0.02, head="t")
    made("microseconds", lambda n: str(n * 10_000), lambda n: n * 0.01)
    made("ms since the start, from 812344 on", lambda n: str(812_344 + n * 25), lambda n: n * 0.025)
    return found


def headings_again() -> list[Table]:
    found = []
    count = 120
    rows = [cells(n) for n in range(count)]
    for at in (40, 100):
        again = [*rows[:at], NAMES, *rows[at:]]
        found.append(
            Table(
                f"the same headings again in row {at}",
                text_of(again, ","),
                truth(count),
                times(count),
                ANY,
            )
        )
    other = [NAMES[0], NAMES[2], NAMES[1], NAMES[3]]
    for at in (40, 100):
        turned = [[r[0], r[2], r[1], r[3]] for r in rows[at:]]
        found.append(
            Table(
                f"headings in another order in row {at}",
                text_of([*rows[:at], other, *turned], ","),
                truth(count),
                times(count),
                HONEST,
                line=at + 2,
            )
        )
    fewer = [[r[0], r[2], r[3]] for r in rows[60:]]
    names = [NAMES[0], NAMES[2], NAMES[3]]
    found.append(
        Table(
            "headings with one column fewer in row 60",
            text_of([*rows[:60], names, *fewer], ","),
            truth(count),
            times(count),
            HONEST,
            line=62,
        )
    )
    units = [*NAMES[:2], "Coolant Temp [degF]", NAMES[3]]
    warm = [[*r[:2], f"{float(r[2]) * 1.8 + 32:.2f}", r[3]] for r in rows[60:]]
    found.append(
        Table(
            "headings with another unit in row 60",
            text_of([*rows[:60], units, *warm], ";"),
            truth(count),
            times(count),
            HONEST,
            line=62,
        )
    )
    second = text_of([[r[0], r[3], r[1]] for r in rows[:50]], ",", [NAMES[0], NAMES[3], NAMES[1]])
    found.append(
        Table(
            "two tables one below the other",
            text_of(rows, ",") + "\n" + second,
            truth(count),
            times(count),
            ANY,
            line=123,
        )
    )
    found.append(
        Table(
            "a remark between the rows",
            text_of([*rows[:70], ["# pulled over"], *rows[70:]], ","),
            truth(count),
            times(count),
            ANY,
        )
    )
    found.append(
        Table(
            "a sum below the rows",
            text_of(rows, ",") + "Mean,733.5,27.54,234.5\n",
            truth(count),
            times(count),
            ANY,
        )
    )
    found.append(
        Table(
            "words without delimiter between the rows",
            text_of([*rows[:70], ["logger restarted"], *rows[70:]], ","),
            truth(count),
            times(count),
            ANY,
        )
    )
    return found


def mixed() -> list[Table]:
    found = []
    count = 60
    rows = [cells(n) for n in range(count)]
    torn_rows = [",".join(comma(n)).split(",") for n in range(count)]
    found.append(
        Table(
            "decimal commas in a table with commas",
            text_of(torn_rows, ","),
            truth(count),
            times(count),
            HONEST,
        )
    )
    whole = [[r[0].split(".")[0], *r[1].split("."), r[2], r[3]] for r in rows]
    found.append(
        Table(
            "decimal commas of one column in a table with commas",
            text_of(whole, ","),
            {COOLANT: truth(count)[COOLANT]},
            None,
            HONEST,
        )
    )
    found.append(
        Table(
            "a delimiter inside quotes",
            text_of(
                [[*r, f'"km 12, lane {n % 3}"'] for n, r in enumerate(rows)],
                ",",
                [*NAMES, "Remark"],
            ),
            truth(count),
            times(count),
            ONLY_RIGHT,
        )
    )
    found.append(
        Table(
            "a delimiter outside quotes in one remark",
            text_of(
                [[*r, "km 12, lane" if n == 40 else "km 12"] for n, r in enumerate(rows)],
                ",",
                [*NAMES, "Remark"],
            ),
            truth(count),
            times(count),
            ANY,
        )
    )
    shifted = [[*UNITS[1:], ""], *rows]
    found.append(
        Table(
            "a row of units that stands one column to the left",
            text_of(shifted, ",", BARE),
            truth(count),
            times(count),
            ANY,
        )
    )
    found.append(
        Table(
            "a row of units below the headings",
            text_of([UNITS, *rows], ",", BARE),
            truth(count),
            times(count),
            ONLY_RIGHT,
        )
    )
    short = [UNITS[:3], *rows]
    found.append(
        Table(
            "a row of units that is one short",
            text_of(short, ",", BARE),
            truth(count),
            times(count),
            ANY,
        )
    )
    open_quote = [[r[0], f'"{r[1]}', *r[2:]] if n == 33 else r for n, r in enumerate(rows)]
    found.append(
        Table(
            "a quote that is never closed",
            text_of(open_quote, ","),
            truth(count),
            times(count),
            HONEST,
        )
    )
    half = [r if n < 30 else [";".join(r)] for n, r in enumerate(rows)]
    found.append(
        Table(
            "another delimiter from row 30 on",
            text_of(half, ","),
            truth(count),
            times(count),
            HONEST,
            line=32,
        )
    )
    found.append(
        Table(
            "two readings under one heading",
            text_of(
                [[*r[:2], f"{degc(n + 400):.3f}", *r[2:]] for n, r in enumerate(rows)],
                ",",
                [
                    "Time [s]",
                    "Engine Speed [rpm]",
                    "Intake Air Temp [degC]",
                    "Coolant Temp [degC]",
                    "Oil Pressure [kPa]",
                ],
            ),
            {**truth(count), "intake_air_temperature": [degc(n + 400) for n in range(count)]},
            times(count),
            ONLY_RIGHT,
        )
    )
    return found


TABLES: tuple[Table, ...] = tuple(
    table
    for made in (
        long_rows,
        short_rows,
        numbered_rows,
        fixed_width,
        blank_leads,
        blank_columns,
        late_marks,
        times_without_unit,
        headings_again,
        mixed,
    )
    for table in made()
)
