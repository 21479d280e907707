"""Clocks, dates and stamps: files 65 to 84."""

from tables_b_kit import ask, cells, line, put, read, refuse, rows, steps, text

RPM = line(690, 1480)
OIL = line(38, 61)
BASE = {"engine_speed": (RPM, "rpm"), "oil_pressure": (OIL, "psi")}
SIX = {"engine_speed": (RPM[:6], "rpm"), "oil_pressure": (OIL[:6], "psi")}
WORDS = "Engine RPM,Oil pressure [psi]"


def under(stamp: str, stamps: list[str], sep: str = ",", words: str = WORDS) -> str:
    n = len(stamps)
    return text(
        f"{stamp}{sep}{words.replace(',', sep)}",
        *rows(sep, stamps, cells(RPM[:n]), cells(OIL[:n])),
    )


def no_unit() -> None:
    put(
        "b065_time_in_hundreds.csv",
        under("Time", cells(steps(0, 100))),
        "0, 100, 200: milliseconds most likely, and not said",
        ask("time unit", BASE),
    )
    warm = line(52, 181)
    put(
        "b066_minutes_unsaid.csv",
        text(
            "Time,Coolant temp [F],Engine RPM",
            *rows(",", cells(steps(0, 1)), cells(warm), ["1100"] * 12),
        ),
        "minutes: no engine warms from 52 to 181 °F in eleven seconds; nothing says so",
        ask("time unit", {"coolant_temperature": (warm, "degF")}),
        refuse(1, 1),
    )
    put(
        "b067_minutes_said.csv",
        text(
            "Elapsed (min),Coolant temp [F],Engine RPM",
            *rows(",", cells(steps(0, 1)), cells(warm), ["1100"] * 12),
        ),
        "minutes, said",
        read(
            12, 660, {"coolant_temperature": (warm, "degF"), "engine_speed": ([1100.0] * 12, "rpm")}
        ),
    )
    put(
        "b068_uptime_ms.csv",
        under("Uptime [ms]", cells(steps(86_399_000, 250))),
        "milliseconds since the logger was switched on, nearly a day ago",
        read(12, 2.75, BASE),
        ask("time", BASE),
    )
    put(
        "b069_epoch_ms.csv",
        under("timestamp", cells(steps(1_773_480_000_000, 200))),
        "thirteen digits: milliseconds since 1970, in steps of 0.2 s",
        read(12, 2.2, BASE),
        ask("time unit", BASE),
    )
    put(
        "b070_serial_day.csv",
        under("Date/Time", cells([46095.5 + i * 5 / 86400 for i in range(12)], 6)),
        "a spreadsheet's day number with its fraction, in steps of 5 s: 55 s, not 0.0006",
        read(12, 55, BASE),
        ask("time unit", BASE),
        refuse(2, 1),
    )
    put(
        "b071_share_of_a_day.csv",
        under("Time", cells([0.520833 + i * 10 / 86400 for i in range(12)], 6)),
        "half past twelve as a share of the day, in steps of 10 s: 110 s, not 0.0013 s",
        read(12, 110, BASE),
        ask("time unit", BASE),
        refuse(2, 1),
    )


def clocks() -> None:
    put(
        "b072_minutes_seconds_over_the_hour.csv",
        under(
            "Time",
            [f"59:{56 + i / 2:04.1f}" if i < 8 else f"00:{(i - 8) / 2:04.1f}" for i in range(12)],
        ),
        "mm:ss.s over the full hour; the hours were lost in the spreadsheet",
        read(12, 5.5, BASE),
        read(8, 3.5, {k: (v[:8], u) for k, (v, u) in BASE.items()}, [10]),
        read(12, None, BASE, [10], "time goes back"),
        ask("time", BASE),
        refuse(10, 1),
    )
    put(
        "b073_hours_minutes_only.csv",
        under("Time", ["14:02"] * 4 + ["14:03"] * 4 + ["14:04"] * 4),
        "four rows a minute under one stamp: 14:02 is no 14 min 2 s",
        read(12, 120, BASE),
        read(12, None, BASE, (), "stamps stand twice"),
        ask("time unit", BASE),
    )
    put(
        "b074_am_pm_noon.csv",
        under(
            "Time",
            [
                "11:59:58 AM",
                "11:59:59 AM",
                "12:00:00 PM",
                "12:00:01 PM",
                "12:00:02 PM",
                "12:00:03 PM",
            ],
        ),
        "over noon: 12 PM is not midnight",
        read(6, 5, SIX),
    )
    put(
        "b075_am_pm_midnight.csv",
        under(
            "Time",
            [
                "11:59:58 p.m.",
                "11:59:59 p.m.",
                "12:00:00 a.m.",
                "12:00:01 a.m.",
                "12:00:02 a.m.",
                "12:00:03 a.m.",
            ],
        ),
        "over midnight with dots in a.m.",
        read(6, 5, SIX),
        read(6, 5, SIX, [4]),
        ask("time", SIX),
        refuse(2, 1),
    )
    put(
        "b076_midnight.csv",
        under("Clock", ["23:59:58", "23:59:59", "00:00:00", "00:00:01", "00:00:02", "00:00:03"]),
        "a day's end without a date: 5 s, not minus a day and not a day",
        read(6, 5, SIX),
        read(6, None, SIX, [4], "time goes back"),
        ask("time", SIX),
    )
    put(
        "b077_spring_night.csv",
        under(
            "Local time",
            [f"2026-03-29 01:59:{s}" for s in (57, 58, 59)]
            + [f"2026-03-29 03:00:0{s}" for s in (0, 1, 2)],
        ),
        "the clocks were put forward: one second lies between rows 4 and 5; the file cannot say it",
        read(6, 5, SIX, [5]),
        read(6, 3605, SIX, [5], "a gap of an hour"),
        ask("time", SIX),
    )
    put(
        "b078_autumn_night.csv",
        under(
            "Local time",
            [f"2026-10-25 02:59:{s}" for s in (57, 58, 59)]
            + [f"2026-10-25 02:00:0{s}" for s in (0, 1, 2)],
        ),
        "the clocks were put back: time runs on, the stamps go back an hour",
        read(6, 5, SIX, [5]),
        read(6, None, SIX, [5], "time goes back"),
        ask("time", SIX),
    )
    put(
        "b079_offsets_in_the_stamp.csv",
        under(
            "time",
            [
                "2026-11-01T01:59:58-04:00",
                "2026-11-01T01:59:59-04:00",
                "2026-11-01T01:00:00-05:00",
                "2026-11-01T01:00:01-05:00",
                "2026-11-01T01:00:02-05:00",
                "2026-11-01T01:00:03-05:00",
            ],
        ),
        "the offset is in the stamp, so it is all settled: 5 s",
        read(6, 5, SIX),
    )
    put(
        "b080_day_month_over_midnight.csv",
        under(
            "Date",
            [
                "03/04/2026 23:59:58",
                "03/04/2026 23:59:59",
                "04/04/2026 00:00:00",
                "04/04/2026 00:00:01",
                "04/04/2026 00:00:02",
                "04/04/2026 00:00:03",
            ],
        ),
        "day first it is 5 s; month first a month lies between rows 3 and 4",
        read(6, 5, SIX),
        ask("day and month", SIX),
        read(6, None, SIX, [4], "date order or a gap of a month"),
    )
    put(
        "b081_two_digit_years.csv",
        under(
            "Date",
            [
                "26-03-31 23:59:58",
                "26-03-31 23:59:59",
                "26-04-01 00:00:00",
                "26-04-01 00:00:01",
                "26-04-01 00:00:02",
                "26-04-01 00:00:03",
            ],
        ),
        "year first with two digits, over the end of March",
        read(6, 5, SIX),
        ask("date", SIX),
        refuse(2, 1),
    )
    put(
        "b082_month_names.csv",
        under(
            "Datum",
            [
                "31. März 2026 23:59:58",
                "31. März 2026 23:59:59",
                "1. Apr. 2026 00:00:00",
                "1. Apr. 2026 00:00:01",
                "1. Apr. 2026 00:00:02",
                "1. Apr. 2026 00:00:03",
            ],
            ";",
        ),
        "German month names over the end of March",
        read(6, 5, SIX),
        read(6, None, SIX, (), "time not understood"),
        ask("time", SIX),
        refuse(2, 1),
    )
    put(
        "b083_mois.csv",
        under(
            "Heure",
            [
                "28 févr. 2026 23:59:58",
                "28 févr. 2026 23:59:59",
                "1 mars 2026 00:00:00",
                "1 mars 2026 00:00:01",
                "31 dic 2026 00:00:02",
                "31 dic 2026 00:00:03",
            ],
            ";",
        ),
        "French months, and the last two rows in Spanish from another phone: ten months later",
        read(4, 3, {k: (v[:4], u) for k, (v, u) in SIX.items()}, [6]),
        read(6, None, SIX, (), "time not understood or a leap"),
        ask("time", SIX),
        refuse(),
    )
    put(
        "b084_comma_before_the_milliseconds.csv",
        text(
            f"Time,{WORDS}",
            *rows(
                ",",
                [f"14:02:{11 + i // 2},{i % 2 * 5}00" for i in range(12)],
                cells(RPM),
                cells(OIL),
            ),
        ),
        "14:02:11,500 in a comma file: four cells under three headings; engine speed is not 500",
        read(12, 5.5, BASE),
        refuse(),
        ask("headings"),
    )
    put(
        "b085_hour_minute_second_apart.csv",
        text(
            f"Hour;Min;Sec;{WORDS.replace(',', ';')}",
            *rows(
                ";",
                ["14"] * 12,
                ["2"] * 12,
                cells(steps(11, 0.5), 1),
                cells(RPM),
                cells(OIL),
            ),
        ),
        "the clock stands in three columns; Min is neither a minimum nor the elapsed minutes",
        read(12, 5.5, BASE),
        read(12, None, BASE, (), "time not understood"),
        ask("time", BASE),
    )


def all_clocks() -> None:
    no_unit()
    clocks()
