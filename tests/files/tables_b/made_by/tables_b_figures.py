"""Figures: decimal marks, thousands, missing values, units in cells: files 37 to 64."""

from tables_b_kit import ask, cells, comma, commas, line, put, read, refuse, rows, steps, text

RPM = line(690, 1480)
OIL = line(38, 61)
HOT = line(171, 186)
VOLT = line(13.9, 14.2, 12, 1)
T = steps(0, 0.5)
LONG = 5.5
HEAD = "Time [s],Engine RPM,Oil pressure [psi]"
BASE = {"engine_speed": (RPM, "rpm"), "oil_pressure": (OIL, "psi")}


def dotted(value: float, mark: str = ".") -> str:
    """Return 1234 as 1.234."""
    return f"{value:,.0f}".replace(",", mark)


def marks() -> None:
    three = [dotted(v) for v in RPM]
    put(
        "b037_thousand_dot_comes_late.csv",
        text(
            "Zeit [s];Engine RPM;Battery [V]",
            *rows(";", commas(T), three, commas(VOLT)),
        ),
        "a decimal-comma file; engine speed is below 1000 in the first rows, then 1.114: "
        "1114 r/min, not 1.114",
        read(12, LONG, {"engine_speed": (RPM, "rpm"), "battery_voltage": (VOLT, "V")}),
        ask("decimal mark", {"battery_voltage": (VOLT, "V")}),
    )
    only_late = ["690"] * 11 + ["1.234"]
    put(
        "b038_thousand_dot_in_the_last_row.csv",
        text("Time [s];Engine RPM;Battery [V]", *rows(";", commas(T), only_late, commas(VOLT))),
        "the only 1.234 stands in the last row",
        read(
            12,
            LONG,
            {"engine_speed": ([690.0] * 11 + [1234.0], "rpm"), "battery_voltage": (VOLT, "V")},
        ),
        read(
            11,
            5.0,
            {"engine_speed": ([690.0] * 11, "rpm"), "battery_voltage": (VOLT[:11], "V")},
            [13],
        ),
        ask("decimal mark", {"battery_voltage": (VOLT, "V")}),
        refuse(13, 2),
    )
    both = [f"{dotted(v)},5" for v in line(1012, 1480)]
    put(
        "b039_dot_and_comma.tsv",
        text("Time [s]\tEngine speed [rpm]", *rows("\t", commas(T), both)),
        "1.012,5: both marks in one figure settle it",
        read(12, LONG, {"engine_speed": ([v + 0.5 for v in line(1012, 1480)], "rpm")}),
    )
    quoted = [f'"{v:,.0f}"' if v >= 1000 else f"{v:.0f}" for v in RPM]
    warm = line(171.4, 186.2, 12, 1)
    put(
        "b040_quoted_thousands.csv",
        text(
            "Time [s],Engine RPM,Coolant temp [F]",
            *rows(",", cells(T, 1), quoted, cells(warm, 1)),
        ),
        'quoted "1,114" beside 171.4: a thousands comma',
        read(12, LONG, {"engine_speed": (RPM, "rpm"), "coolant_temperature": (warm, "degF")}),
    )
    kpa = line(3.512, 3.874, 12, 3)
    put(
        "b041_three_digits_after_every_comma.csv",
        text(
            "Time [s];Fuel gallery pressure [kPa]", *rows(";", cells(steps(0, 1)), commas(kpa, 3))
        ),
        "3,512: three and a half or three thousand five hundred and twelve; nothing settles it",
        ask("decimal mark"),
    )
    put(
        "b042_three_digits_and_a_settling_column.csv",
        text(
            "Time [s];Boost [bar];Battery [V]",
            *rows(";", cells(steps(0, 1)), commas(line(0.112, 1.874, 12, 3), 3), commas(VOLT)),
        ),
        "0,112 begins with a nought and 13,9 stands beside: decimal comma in both",
        read(
            12,
            11,
            {"boost_pressure": (line(0.112, 1.874, 12, 3), "bar"), "battery_voltage": (VOLT, "V")},
        ),
    )
    put(
        "b043_apostrophe.csv",
        text(
            "Time [s];Engine RPM;Battery [V]",
            *rows(";", cells(T, 1), [dotted(v, "'") for v in RPM], cells(VOLT, 1)),
        ),
        "thousands with an apostrophe, decimals with a point",
        read(12, LONG, {"engine_speed": (RPM, "rpm"), "battery_voltage": (VOLT, "V")}),
        refuse(7, 2),
    )
    put(
        "b044_narrow_blank.csv",
        text(
            "Temps [s];Régime moteur [tr/min];Pression d'huile [bar]",
            *rows(
                ";",
                commas(T),
                [dotted(v, "\u202f") for v in RPM],
                commas(line(2.6, 4.2, 12, 1)),
            ),
        ),
        "thousands with a narrow no-break blank; French headings",
        read(
            12,
            LONG,
            {"engine_speed": (RPM, "rpm"), "oil_pressure": (line(2.6, 4.2, 12, 1), "bar")},
        ),
        ask("headings"),
        refuse(),
    )
    far = ["12,34,567.8", "12,34,568.9", "12,34,569.9", "12,34,571.0"]
    put(
        "b045_groups_of_two.csv",
        text("Time (min),Total distance (km)", *[f'{i},"{f}"' for i, f in enumerate(far)]),
        "12,34,567.8 is grouped by hundreds: 1234567.8 km",
        read(4, 180, {"total_distance": ([1234567.8, 1234568.9, 1234569.9, 1234571.0], "km")}),
        refuse(2, 2),
        ask("decimal mark"),
    )
    put(
        "b046_quoted_decimal_comma.csv",
        text(
            "Time [s],Battery [V],Oil temp [C]",
            *[
                f'"{comma(t)}","{comma(v)}","{comma(o)}"'
                for t, v, o in zip(T, VOLT, line(82.5, 91.5, 12, 1), strict=True)
            ],
        ),
        "comma between the cells and, quoted, inside them",
        read(
            12,
            LONG,
            {
                "battery_voltage": (VOLT, "V"),
                "oil_temperature": (line(82.5, 91.5, 12, 1), "degC"),
            },
        ),
    )
    half = [
        f"{t:.1f},{v:.1f}" if i % 2 else f'{t:.1f},"{comma(v)}"'
        for i, (t, v) in enumerate(zip(T, VOLT, strict=True))
    ]
    put(
        "b047_both_decimal_marks_mixed.csv",
        text("Time [s],Battery [V]", *half),
        "two people kept this table: every second voltage has a decimal comma",
        read(12, LONG, {"battery_voltage": (VOLT, "V")}),
        read(
            6,
            5.0,
            {"battery_voltage": (VOLT[1::2], "V")},
            [2, 4, 6, 8, 10, 12],
        ),
        ask("decimal mark"),
        refuse(2, 2),
    )


def powers() -> None:
    put(
        "b048_powers_of_ten.csv",
        text(
            HEAD,
            *rows(
                ",", [f"{t:.4E}" for t in T], [f"{r:.2E}" for r in RPM], [f"{o:.1E}" for o in OIL]
            ),
        ),
        "scientific notation; 1.11E+03",
        read(
            12,
            LONG,
            {
                "engine_speed": ([float(f"{r:.2E}") for r in RPM], "rpm"),
                "oil_pressure": (OIL, "psi"),
            },
        ),
    )
    put(
        "b049_powers_with_a_comma.csv",
        text(
            "Time [s];Engine RPM",
            *rows(
                ";",
                [f"{t:.1e}".replace(".", ",") for t in T],
                [f"{r:.3e}".replace(".", ",") for r in RPM],
            ),
        ),
        "6,900e+02",
        read(12, LONG, {"engine_speed": (RPM, "rpm")}),
        refuse(2),
    )
    put(
        "b050_powers_with_a_d.dat",
        text(
            "time_s engine_rpm",
            *rows(
                " ",
                [f"{t:.2E}".replace("E", "D") for t in T],
                [f"{r:.4E}".replace("E", "D") for r in RPM],
            ),
        ),
        "6.9000D+02 as an old program writes it",
        read(12, LONG, {"engine_speed": (RPM, "rpm")}),
        refuse(2),
    )
    put(
        "b051_rpm_in_thousands.csv",
        text(
            "Time [s],Engine RPM x1000,Oil pressure [psi]",
            *rows(",", cells(T, 1), cells([r / 1000 for r in RPM], 2), cells(OIL)),
        ),
        "0.69 is 690 r/min; an engine does not turn at 0.69",
        read(
            12,
            LONG,
            {
                "engine_speed": ([round(r / 10) * 10.0 for r in RPM], "rpm"),
                "oil_pressure": (OIL, "psi"),
            },
        ),
        ask("heading Engine RPM x1000", {"oil_pressure": (OIL, "psi")}),
        refuse(1, 2),
    )
    put(
        "b052_tenths_of_a_volt.csv",
        text(
            "Time [s],Engine RPM,Battery [0.1 V]",
            *rows(",", cells(T, 1), cells(RPM), cells([v * 10 for v in VOLT])),
        ),
        "139 tenths are 13.9 V",
        read(12, LONG, {"engine_speed": (RPM, "rpm"), "battery_voltage": (VOLT, "V")}),
        ask("unit 0.1 V", {"engine_speed": (RPM, "rpm")}),
        refuse(1, 3),
    )


def in_cells() -> None:
    load = line(23, 100)
    put(
        "b053_percent_in_the_cells.csv",
        text(
            "Time [s],Engine RPM,Engine load",
            *rows(",", cells(T, 1), cells(RPM), [f"{v:.0f}%" for v in load]),
        ),
        "percent signs in the cells",
        read(12, LONG, {"engine_speed": (RPM, "rpm"), "engine_load": (load, "%")}),
    )
    put(
        "b054_percent_as_a_share.csv",
        text(
            "Time [s],Engine RPM,Engine load [%],Boost [psi]",
            *rows(
                ",", cells(T, 1), cells(RPM), cells([v / 100 for v in load], 2), cells(line(3, 29))
            ),
        ),
        "the heading says %, the cells are shares up to exactly 1.00 while boost climbs to 29 psi: "
        "0.23 % load would be a plausible lie",
        read(
            12,
            LONG,
            {
                "engine_speed": (RPM, "rpm"),
                "engine_load": (load, "%"),
                "boost_pressure": (line(3, 29), "psi"),
            },
        ),
        ask(
            "engine load: percent or share",
            {"engine_speed": (RPM, "rpm"), "boost_pressure": (line(3, 29), "psi")},
        ),
        read(
            12,
            LONG,
            {"engine_speed": (RPM, "rpm"), "boost_pressure": (line(3, 29), "psi")},
            say="engine load left out or doubted",
        ),
    )
    put(
        "b055_degree_signs.csv",
        text(
            "Time [s];Coolant temp;Oil temp",
            *rows(
                ";",
                cells(T, 1),
                [f"{v:.0f} °F" for v in HOT],
                [f"{v:.0f}º F" for v in line(180, 199)],
            ),
        ),
        "units in the cells with two different degree signs",
        read(
            12,
            LONG,
            {"coolant_temperature": (HOT, "degF"), "oil_temperature": (line(180, 199), "degF")},
        ),
    )
    mixed = [f"{v:.0f} °F" for v in HOT[:8]] + ["83 °C", "84 °C", "84 °C", "85 °C"]
    put(
        "b056_unit_changes_in_the_column.csv",
        text("Time [s];Engine RPM;Coolant temp", *rows(";", cells(T, 1), cells(RPM), mixed)),
        "from row 10 on the cells are in °C: 83 °F would be a cold engine",
        read(
            12,
            LONG,
            {
                "engine_speed": (RPM, "rpm"),
                "coolant_temperature": ([*HOT[:8], 181.4, 183.2, 183.2, 185.0], "degF"),
            },
        ),
        read(
            12, LONG, {"engine_speed": (RPM, "rpm"), "coolant_temperature": (HOT[:8], "degF")}, [10]
        ),
        ask("unit of coolant temperature", {"engine_speed": (RPM, "rpm")}),
        refuse(10, 3),
    )
    put(
        "b057_words_in_the_cells.csv",
        text(
            "Time [s],Engine speed,Oil pressure",
            *rows(
                ",",
                [f"{t:.1f} s" for t in T],
                [f"{r:.0f} rpm" for r in RPM],
                [f"{o:.0f} psi" for o in OIL],
            ),
        ),
        "every cell carries its unit",
        read(12, LONG, BASE),
    )
    low = [2.0, 1.0, 0.4, -0.2, -0.4, -0.4, -0.1, 0.0, 0.6, 1.5, 3.0, 6.0]
    put(
        "b058_brackets_are_minus.csv",
        text(
            "Time [s],Engine RPM,Boost [psi]",
            *rows(
                ",", cells(T, 1), cells(RPM), [f"({-v:.1f})" if v < 0 else f"{v:.1f}" for v in low]
            ),
        ),
        "(0.4) is bookkeeping for -0.4",
        read(12, LONG, {"engine_speed": (RPM, "rpm"), "boost_pressure": (low, "psi")}),
        read(
            12,
            LONG,
            {
                "engine_speed": (RPM, "rpm"),
                "boost_pressure": ([v if v >= 0 else None for v in low], "psi"),
            },
            [5],
        ),
        ask("cells", {"engine_speed": (RPM, "rpm")}),
        refuse(5, 3),
    )
    put(
        "b059_long_minus_and_minus_nought.csv",
        text(
            "Time [s],Engine RPM,Boost [psi]",
            *rows(
                ",",
                cells(T, 1),
                cells(RPM),
                ["-0" if v == 0 else f"\u2212{-v:.1f}" if v < 0 else f"+{v:.1f}" for v in low],
            ),
        ),
        "a long minus sign, a plus sign and -0",
        read(12, LONG, {"engine_speed": (RPM, "rpm"), "boost_pressure": (low, "psi")}),
        read(
            12,
            LONG,
            {
                "engine_speed": (RPM, "rpm"),
                "boost_pressure": ([v if v >= 0 else None for v in low], "psi"),
            },
            [5],
        ),
        refuse(5, 3),
    )


def missing() -> None:
    holes = [38.0, 40.0, None, None, 47.0, 48.0, None, 53.0, 55.0, None, 59.0, 61.0]
    say = iter(["-", "n/a", "--", "NaN"])
    put(
        "b060_dash_na_nan.csv",
        text(
            HEAD,
            *rows(
                ",",
                cells(T, 1),
                cells(RPM),
                [f"{v:.0f}" if v is not None else next(say) for v in holes],
            ),
        ),
        "four ways to say missing",
        read(12, LONG, {"engine_speed": (RPM, "rpm"), "oil_pressure": (holes, "psi")}),
    )
    put(
        "b061_9999.csv",
        text(
            "Time [s],Engine RPM,Coolant temp [F],Oil pressure [psi]",
            *rows(",", cells(T, 1), cells(RPM), cells(holes, 0, "9999"), cells(holes, 0, "-999")),
        ),
        "9999 and -999 stand where nothing was measured (coolant column invented cold)",
        read(
            12,
            LONG,
            {
                "engine_speed": (RPM, "rpm"),
                "coolant_temperature": (holes, "degF"),
                "oil_pressure": (holes, "psi"),
            },
        ),
        ask("9999", {"engine_speed": (RPM, "rpm")}),
    )
    put(
        "b062_nought_is_missing_says_the_top.csv",
        text(
            "# gauge box 2; 0 = no reading",
            HEAD,
            *rows(",", cells(T, 1), cells(RPM), cells(holes, 0, "0")),
        ),
        "the comment above says that 0 means no reading; 0 psi at 900 r/min would stop a truck",
        read(12, LONG, {"engine_speed": (RPM, "rpm"), "oil_pressure": (holes, "psi")}),
        read(
            12,
            LONG,
            {
                "engine_speed": (RPM, "rpm"),
                "oil_pressure": ([0.0 if v is None else v for v in holes], "psi"),
            },
            say="zeros of a running engine are doubted, or the comment is shown",
        ),
        ask("nought", {"engine_speed": (RPM, "rpm")}),
    )
    put(
        "b063_nought_is_a_reading.csv",
        text(HEAD, *rows(",", cells(T, 1), cells([0.0] * 4 + RPM[4:]), cells([0.0] * 6 + OIL[6:]))),
        "a start: engine and oil pressure are at nought first, and that is true",
        read(
            12,
            LONG,
            {
                "engine_speed": ([0.0] * 4 + RPM[4:], "rpm"),
                "oil_pressure": ([0.0] * 6 + OIL[6:], "psi"),
            },
        ),
    )
    put(
        "b064_defaults_of_the_bus.csv",
        text(
            "Time [s],Engine speed [rpm],Coolant temp [degC],Oil pressure [kPa]",
            *rows(
                ",",
                cells(T, 1),
                ["8191.875"] * 2 + cells(RPM[2:]),
                ["215"] * 3 + cells(line(77, 86)[3:]),
                ["1020"] * 3 + cells(line(260, 420)[3:]),
            ),
        ),
        "codes for 'not available' written as figures: 8191.875 r/min, 215 °C, 1020 kPa",
        read(
            12,
            LONG,
            {
                "engine_speed": ([None] * 2 + RPM[2:], "rpm"),
                "coolant_temperature": ([None] * 3 + line(77, 86)[3:], "degC"),
                "oil_pressure": ([None] * 3 + line(260, 420)[3:], "kPa"),
            },
        ),
        ask("defaults"),
    )


def all_figures() -> None:
    marks()
    powers()
    in_cells()
    missing()
