"""Headings, units, separators, alphabets: files 86 to 100."""

from tables_b_kit import ask, cells, commas, line, put, read, refuse, rows, steps, text

RPM = line(690, 1480)
OIL = line(38, 61)
HOT = line(171, 186)
T = steps(0, 0.5)
LONG = 5.5
BASE = {"engine_speed": (RPM, "rpm"), "oil_pressure": (OIL, "psi")}
FULL = {**BASE, "coolant_temperature": (HOT, "degF")}
HEAD = "Time [s],Engine RPM,Oil pressure [psi],Coolant temp [F]"


def body(sep: str = ",") -> list[str]:
    return rows(sep, cells(T, 1), cells(RPM), cells(OIL), cells(HOT))


def units() -> None:
    put(
        "b086_units_in_the_second_row.csv",
        text("Time,Engine speed,Oil pressure,Coolant temp", "s,rpm,psi,°F", *body()),
        "units in the second row",
        read(12, LONG, FULL),
    )
    put(
        "b087_unit_row_one_short.csv",
        text("Time,Engine speed,Oil pressure,Coolant temp", "rpm,psi,°F", *body()),
        "the unit of time is missing and the units stand one to the left: oil is not in °F",
        ask("units"),
        refuse(2),
        read(12, LONG, FULL),
    )
    put(
        "b088_units_above_the_names.csv",
        text(
            "[s];[1/min];[bar];[°C]",
            "Time;Engine speed;Oil pressure;Coolant temp",
            *rows(";", commas(T), cells(RPM), commas(line(2.6, 4.2, 12, 1)), cells(line(77, 86))),
        ),
        "units stand above the names",
        read(
            12,
            LONG,
            {
                "engine_speed": (RPM, "rpm"),
                "oil_pressure": (line(2.6, 4.2, 12, 1), "bar"),
                "coolant_temperature": (line(77, 86), "degC"),
            },
        ),
        ask("units"),
        refuse(),
    )
    put(
        "b089_no_units_at_all.csv",
        text(
            "Time [s],RPM,Oil pressure,Coolant temp,Speed",
            *rows(
                ",", cells(T, 1), cells(RPM), cells(OIL), cells(line(82, 97)), cells(line(11, 29))
            ),
        ),
        "38 is psi or something else, 97 is °C (in truth) or °F, Speed mph or km/h: "
        "only engine speed is plain",
        read(12, LONG, {"engine_speed": (RPM, "rpm")}, (), "units of the others asked for"),
        ask("units", {"engine_speed": (RPM, "rpm")}),
    )
    put(
        "b090_absolute_boost.csv",
        text(
            "Time [s],Engine RPM,Boost [psia],Oil pressure [psig]",
            *rows(",", cells(T, 1), cells(RPM), cells(line(14.6, 41.2, 12, 1), 1), cells(OIL)),
        ),
        "psia: 14.6 is no boost at all",
        read(12, LONG, {**BASE, "intake_manifold_pressure": (line(14.6, 41.2, 12, 1), "psi")}),
        ask("boost absolute", BASE),
        read(12, LONG, BASE, (), "boost left out"),
        refuse(1, 3),
    )
    put(
        "b091_which_pressure.csv",
        text(
            "Time [s],Engine RPM,Pressure [psi],Fuel press max [psi],Oil press avg [psi]",
            *rows(
                ",", cells(T, 1), cells(RPM), cells(OIL), cells(line(88, 97)), cells(line(44, 52))
            ),
        ),
        "which pressure, a maximum, an average: none is the quantity of the moment",
        read(12, LONG, {"engine_speed": (RPM, "rpm")}, (), "three columns asked about"),
        ask("headings", {"engine_speed": (RPM, "rpm")}),
    )
    put(
        "b092_set_point_beside_the_actual.csv",
        text(
            "Time [s],Engine speed setpoint [rpm],Engine speed [rpm],Coolant temp radiator out [F],"
            "Coolant temp [F]",
            *rows(",", cells(T, 1), ["1500"] * 12, cells(RPM), cells(line(121, 139)), cells(HOT)),
        ),
        "what was wanted and what was, the radiator's outlet and the engine's",
        read(12, LONG, {"engine_speed": (RPM, "rpm"), "coolant_temperature": (HOT, "degF")}),
        ask("headings", {"engine_speed": (RPM, "rpm"), "coolant_temperature": (HOT, "degF")}),
    )
    both = [round(v * 6.894757, 1) for v in OIL]
    both[6] = 0.0
    put(
        "b093_same_quantity_twice.csv",
        text(
            "Time [s],Engine RPM,Oil pressure [psi],Oil pressure [kPa]",
            *rows(",", cells(T, 1), cells(RPM), cells(OIL), cells(both, 1)),
        ),
        "the same quantity in two units, and in row 8 they disagree (49 psi, 0 kPa)",
        read(12, LONG, BASE, (), "two columns of one quantity"),
        ask("oil pressure twice", {"engine_speed": (RPM, "rpm")}),
        refuse(8),
    )


def letters() -> None:
    put(
        "b094_latin_1.csv",
        text(
            "Zeit [s];Drehzahl [1/min];Öldruck [bar];Kühlmittel [°C]",
            *rows(";", commas(T), cells(RPM), commas(line(2.6, 4.2, 12, 1)), cells(line(77, 86))),
            end="\r\n",
        ).encode("latin-1"),
        "German, one byte a letter",
        read(
            12,
            LONG,
            {
                "engine_speed": (RPM, "rpm"),
                "oil_pressure": (line(2.6, 4.2, 12, 1), "bar"),
                "coolant_temperature": (line(77, 86), "degC"),
            },
        ),
        ask("headings"),
        refuse(),
    )
    put(
        "b095_utf_16_tabs.txt",
        b"\xff\xfe" + text(HEAD.replace(",", "\t"), *body("\t"), end="\r\n").encode("utf-16-le"),
        "UTF-16 with a mark, tabs, as 'Unicode text' is saved",
        read(12, LONG, FULL),
    )
    put(
        "b096_utf_16_without_a_mark.csv",
        text(HEAD, *body()).encode("utf-16-be"),
        "UTF-16, the high byte first, without a mark",
        read(12, LONG, FULL),
        refuse(),
    )
    put(
        "b097_sep_line_and_mixed_ends.csv",
        b"\xef\xbb\xbf"
        + (
            "sep=;\r\n"
            + HEAD.replace(",", ";")
            + "\r"
            + "".join(r + ("\n", "\r\n", "\r")[i % 3] for i, r in enumerate(body(";")))
        ).encode(),
        "a mark, a sep= line, and three kinds of line ends in one file: no row may be lost",
        read(12, LONG, FULL),
    )
    notes = ["", '"hill, loaded"', "", '"said ""now"""', *[""] * 6, "top, fan on", ""]
    less = {k: ([*v[:10], v[11]], u) for k, (v, u) in FULL.items()}
    put(
        "b098_notes_with_commas.csv",
        text(HEAD + ",Note", *[f"{r},{n}" for r, n in zip(body(), notes, strict=True)]),
        "quoted commas in the notes, and one (line 12) unquoted: that row is a cell too long",
        read(11, LONG, less, [12]),
        read(12, LONG, FULL),
        refuse(12),
    )
    put(
        "b099_line_break_in_a_heading.csv",
        text('Time [s],"Engine\nspeed\n[rpm]","Oil\npressure\n[psi]",Coolant temp [F]', *body()),
        "headings with line breaks inside the quotes",
        read(12, LONG, FULL),
    )
    put(
        "b100_tabs_above_blanks_below.txt",
        text(
            "Time [s]\tEngine RPM\tOil pressure [psi]\tCoolant temp [F]",
            *[
                f"{r.replace(',', '   ')}" if i % 2 else r.replace(",", "\t ")
                for i, r in enumerate(body())
            ],
        ),
        "tabs in the heading, tabs with blanks and blanks alone in the rows",
        read(12, LONG, FULL),
        refuse(),
        read(6, 5.0, {k: (v[::2], u) for k, (v, u) in FULL.items()}, [3]),
    )


def all_names() -> None:
    units()
    letters()
