"""Rows, headings, pauses, totals: files 1 to 36."""

from tables_b_kit import ask, cells, line, put, read, refuse, rows, steps, text

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


def lengths() -> None:
    put(
        "b001_comma_at_every_row_end.csv",
        text(HEAD, *[r + "," for r in body()]),
        "every row ends in a comma: one empty cell more than the heading, nothing shifted",
        read(12, LONG, FULL),
        refuse(2, 5),
    )
    b = body()
    b[4] = "2.0,978,46,176,5"
    put(
        "b002_one_decimal_comma_in_row_6.csv",
        text(HEAD, *b),
        "row 6 was typed over by hand with a decimal comma and has five cells",
        read(11, LONG, {k: ([*v[:4], *v[5:]], u) for k, (v, u) in FULL.items()}, [6]),
        refuse(6),
    )
    b = body()
    b[6] = ",".join([*b[6].split(",")[:1], *b[6].split(",")[2:]])
    put(
        "b003_one_cell_dropped_in_row_8.csv",
        text(HEAD, *b),
        "row 8 lost its engine speed; oil pressure must not become engine speed",
        read(11, LONG, {k: ([*v[:6], *v[7:]], u) for k, (v, u) in FULL.items()}, [8]),
        refuse(8),
    )
    put(
        "b004_index_without_a_heading.csv",
        text(
            "Time [s],Engine RPM,Oil pressure [psi]",
            *rows(",", cells(steps(1, 1)), cells(T, 1), cells(RPM), cells(OIL)),
        ),
        "a statistics program wrote row numbers but no heading for them; "
        "read plainly, time is 1..12 and engine speed 0 to 5.5",
        read(12, LONG, BASE),
        refuse(),
        ask("headings"),
    )
    put(
        "b005_no_column_named_no.csv",
        text(
            "No.;Time (s);Engine speed (rpm);Oil pressure (psi)",
            *rows(";", cells(steps(1, 1)), cells(T, 1), cells(RPM), cells(OIL)),
        ),
        "the running number is no time",
        read(12, LONG, BASE),
    )
    put(
        "b006_blank_index_heading.csv",
        text(
            ",time_s,engine_rpm,oil_psi",
            *rows(",", cells(steps(0, 1)), cells(steps(0, 0.2), 1), cells(RPM), cells(OIL)),
        ),
        "a data frame's index: 0..11 without a heading beside a time of 2.2 s",
        read(12, 2.2, BASE),
    )
    b = body()
    b[11] = "5.5,1480"
    put(
        "b007_power_cut_in_the_last_row.csv",
        text(HEAD, *b[:11]) + "5.5,14",
        "the logger lost its power inside the last row: engine speed is not 14",
        read(11, 5.0, {k: (v[:11], u) for k, (v, u) in FULL.items()}, [13]),
        refuse(13),
    )


def widths() -> None:
    put(
        "b008_fixed_width_words.txt",
        text(
            "Elapsed time (s)   Engine speed (rpm)   Engine oil pressure (psi)",
            *[f"{t:16.1f}   {r:18.0f}   {o:25.0f}" for t, r, o in zip(T, RPM, OIL, strict=True)],
        ),
        "fixed columns, headings of several words parted by three blanks",
        read(12, LONG, BASE),
    )
    put(
        "b009_fixed_width_one_blank.prn",
        text(
            " Time s Eng Speed rpm Oil Press psi Coolant Temp F",
            *[
                f"{t:7.1f}{r:14.0f}{o:14.0f}{h:15.0f}"
                for t, r, o, h in zip(T, RPM, OIL, HOT, strict=True)
            ],
        ),
        "only one blank between the headings: ten words above four columns; "
        "the columns end under psi, rpm, F",
        read(12, LONG, FULL),
        refuse(),
        ask("headings"),
    )
    put(
        "b010_dashes_and_units_below.txt",
        text(
            "Time      Engine     Oil        Coolant",
            "          Speed      Pressure   Temp",
            "[s]       [rpm]      [psi]      [degF]",
            "--------  ---------  ---------  --------",
            *[
                f"{t:<10.1f}{r:<11.0f}{o:<11.0f}{h:<8.0f}"
                for t, r, o, h in zip(T, RPM, OIL, HOT, strict=True)
            ],
        ),
        "a heading over two lines, units in the third, dashes in the fourth",
        read(12, LONG, FULL),
        refuse(),
        ask("headings"),
    )
    blank_oil = [
        f"{t:6.1f}{r:8.0f}" + (" " * 8 if i in (3, 4) else f"{o:8.0f}") + f"{h:8.0f}"
        for i, (t, r, o, h) in enumerate(zip(T, RPM, OIL, HOT, strict=True))
    ]
    oil_gap = [None if i in (3, 4) else v for i, v in enumerate(OIL)]
    less = {k: ([*v[:3], *v[5:]], u) for k, (v, u) in FULL.items()}
    put(
        "b011_fixed_width_with_blanks.txt",
        text("time_s     rpm oil_psi  cool_F", *blank_oil),
        "lines 5 and 6 have nothing under oil_psi; split at blanks, coolant becomes oil pressure",
        read(12, LONG, {**FULL, "oil_pressure": (oil_gap, "psi")}),
        read(10, LONG, less, [5, 6]),
        refuse(5),
    )


def spreadsheets() -> None:
    put(
        "b012_starts_at_c4.csv",
        text(",,,,,", ",,,,,", ",,,,,", ",," + HEAD, *[",," + r for r in body()]),
        "blank lead rows and blank lead columns",
        read(12, LONG, FULL),
    )
    put(
        "b013_blank_columns_only_above.csv",
        text(
            "Time [s],,Engine RPM,,Oil pressure [psi]",
            *rows(",", cells(T, 1), cells(RPM), cells(OIL)),
        ),
        "the heading kept the spreadsheet's blank columns, the rows did not: "
        "third cell is oil pressure, not engine speed",
        read(12, LONG, BASE),
        refuse(),
        ask("headings"),
    )
    put(
        "b014_blank_columns_only_below.csv",
        text(
            "Time [s],Engine RPM,Oil pressure [psi],Coolant temp [F],Boost [psi]",
            *rows(",", cells(T, 1), [""] * 12, cells(RPM), [""] * 12, cells(OIL)),
        ),
        "five headings, five cells, but the rows have blank columns between and the last two "
        "channels cut off: engine speed stands under oil pressure, oil pressure under boost",
        refuse(),
        ask("headings"),
    )
    put(
        "b015_merged_title.csv",
        text(
            "Quarry grade run 2: tractor 31 with 74,,,",
            "driver K. / second gauge on the block,,,",
            HEAD,
            *body(),
        ),
        "title lines above; 74 and 31 are no readings",
        read(12, LONG, FULL),
    )
    put(
        "b016_title_as_wide_as_the_table.csv",
        text("Log,2026,3,14", HEAD, *body()),
        "the title has as many cells as the heading",
        read(12, LONG, FULL),
    )
    put(
        "b017_two_heading_rows.csv",
        text(
            ",Engine,,,Vehicle",
            "Time [s],Speed [rpm],Oil pressure [psi],Coolant temp [°F],Speed [mph]",
            *[f"{r},{v}" for r, v in zip(body(), cells(line(12, 31)), strict=True)],
        ),
        "merged cells above: one Speed is the engine's, one the road's",
        read(12, LONG, {**FULL, "road_speed": (line(12, 31), "mph")}),
        ask("headings", FULL),
        refuse(),
    )
    put(
        "b018_group_row_ends_short.csv",
        text(
            "Front,,,Rear,,",
            "Time [s],Hub temp [F],Engine RPM,Time [s],Hub temp [F],Engine RPM",
            *rows(
                ",",
                cells(T, 1),
                cells(line(91, 140)),
                cells(RPM),
                cells(T, 1),
                cells(line(90, 260)),
                cells(RPM),
            ),
        ),
        "two blocks side by side with the same headings; which hub is hot is in the row above",
        ask("same heading twice", {"engine_speed": (RPM, "rpm")}),
        refuse(),
    )
    put(
        "b019_text_formulas.csv",
        text(
            HEAD,
            *[",".join(f'="{c}"' for c in r.split(",")) for r in body()],
        ),
        'cells guarded as ="690"',
        read(12, LONG, FULL),
        refuse(2, 1),
        ask("cells"),
    )
    shown = [f"{r:.0f}" for r in RPM]
    shown[9] = "####"
    broken = cells(OIL)
    broken[5] = "#DIV/0!"
    broken[7] = "#REF!"
    put(
        "b020_spreadsheet_errors.csv",
        text("Time [s],Engine RPM,Oil pressure [psi]", *rows(",", cells(T, 1), shown, broken)),
        "#### and #DIV/0! are missing, not zero and not the value before",
        read(
            12,
            LONG,
            {
                "engine_speed": ([None if i == 9 else v for i, v in enumerate(RPM)], "rpm"),
                "oil_pressure": ([None if i in (5, 7) else v for i, v in enumerate(OIL)], "psi"),
            },
        ),
        refuse(),
    )


def pauses() -> None:
    late = steps(6, 0.5)
    tail = rows(",", cells(late, 1), cells(RPM), cells(OIL), cells(HOT))
    put(
        "b021_same_heading_again.csv",
        text(HEAD, *body(), HEAD, *tail),
        "the heading stands again after a pause",
        read(24, 11.5, {k: ([*v, *v], u) for k, (v, u) in FULL.items()}),
        read(12, LONG, FULL, [14]),
    )
    swapped = rows(",", cells(late, 1), cells(RPM), cells(HOT), cells(OIL))
    put(
        "b022_columns_swap_after_the_pause.csv",
        text(HEAD, *body(), "Time [s],Engine RPM,Coolant temp [F],Oil pressure [psi]", *swapped),
        "after the pause coolant stands before oil: 171 psi of oil would be the deadly reading",
        read(24, 11.5, {k: ([*v, *v], u) for k, (v, u) in FULL.items()}),
        read(12, LONG, FULL, [14]),
        refuse(14),
    )
    kpa = [round(v * 6.894757) for v in OIL]
    put(
        "b023_kpa_after_the_pause.csv",
        text(
            "Time [s],Engine RPM,Oil pressure [psi]",
            *rows(",", cells(T, 1), cells(RPM), cells(OIL)),
            "Time [s],Engine RPM,Oil pressure [kPa]",
            *rows(",", cells(late, 1), cells(RPM), cells([float(v) for v in kpa])),
        ),
        "the phone's unit was changed in the pause: 262 to 421 are kPa, not psi",
        read(
            24,
            11.5,
            {
                "engine_speed": ([*RPM, *RPM], "rpm"),
                "oil_pressure": ([*OIL, *(round(v / 6.894757, 2) for v in kpa)], "psi"),
            },
        ),
        read(12, LONG, BASE, [14]),
        refuse(14),
    )
    more = rows(",", cells(late, 1), cells(RPM), cells(line(2, 19)), cells(OIL))
    put(
        "b024_boost_joins_after_the_pause.csv",
        text(
            "Time [s],Engine RPM,Oil pressure [psi]",
            *rows(",", cells(T, 1), cells(RPM), cells(OIL)),
            "Time [s],Engine RPM,Boost [psi],Oil pressure [psi]",
            *more,
        ),
        "a column joins in the middle: 2 psi is boost, not oil pressure",
        read(
            24,
            11.5,
            {
                "engine_speed": ([*RPM, *RPM], "rpm"),
                "oil_pressure": ([*OIL, *OIL], "psi"),
                "boost_pressure": (line(2, 19), "psi"),
            },
        ),
        read(12, LONG, BASE, [14]),
        refuse(14),
    )
    put(
        "b025_swap_without_a_heading.csv",
        text(
            "Time [s],Engine RPM,Road speed [mph]",
            *rows(",", cells(T, 1), cells(RPM), cells(line(11, 29))),
            "",
            "# resumed",
            *rows(",", cells(late, 1), cells(line(29, 48)), cells(line(1480, 1610))),
        ),
        "after a blank line the two columns changed places and nothing says so but the values "
        "(29 r/min, 1480 mph); the second half must not be read in silence",
        read(12, LONG, {"engine_speed": (RPM, "rpm"), "road_speed": (line(11, 29), "mph")}, [15]),
        refuse(16),
        ask("headings"),
    )
    put(
        "b026_clock_starts_again.csv",
        text(
            "Time [s],Engine RPM,Oil pressure [psi]",
            *(rows(",", cells(T, 1), cells(RPM), cells(OIL)) * 2),
        ),
        "the stamps start at 0 again: a second run, not 5.5 s counted twice",
        read(24, None, {k: ([*v, *v], u) for k, (v, u) in BASE.items()}, [14], "time goes back"),
        read(12, LONG, BASE, [14]),
        ask("time"),
    )


def ends() -> None:
    three = rows(",", cells(T, 1), cells(RPM), cells(OIL))
    head = "Time [s],Engine RPM,Oil pressure [psi]"
    put(
        "b027_average_row.csv",
        text(head, *three, "Average,1085,49.5", "Max,1480,61"),
        "two rows of sums at the foot are no samples",
        read(12, LONG, BASE, [14, 15]),
        read(12, LONG, BASE),
    )
    put(
        "b028_average_row_unnamed.csv",
        text(head, *three, ",1085,49.5"),
        "the average stands in a row without a time: it is not the last sample",
        read(12, LONG, BASE, [14]),
        read(12, LONG, BASE),
        ask("row 14", BASE),
        refuse(14),
    )
    put(
        "b029_end_of_log_line.csv",
        text(head, *three, "End of log,2026-03-14,12 records"),
        "a closing line as wide as the table",
        read(12, LONG, BASE),
        read(12, LONG, BASE, [14]),
    )
    put(
        "b030_count_at_the_foot.csv",
        text(head, *three, "12,12,12"),
        "a counting row under the columns: it looks like a sample at 12 s with 12 r/min and 12 psi",
        read(12, LONG, BASE, [14]),
        read(13, None, {k: ([*v, 12.0], u) for k, (v, u) in BASE.items()}, [14], "leap of time"),
        ask("row 14", BASE),
    )
    put(
        "b031_summary_below.csv",
        text(
            head,
            *three,
            "",
            "Channel,Min,Max",
            "Engine RPM,690,1480",
            "Oil pressure,38,61",
        ),
        "a second table below: Min and Max are no channels' samples",
        read(12, LONG, BASE),
        read(12, LONG, BASE, [15]),
        refuse(15),
    )
    put(
        "b032_summary_above.csv",
        text(
            "Channel,Min,Max",
            "Engine RPM [rpm],690,1480",
            "Oil pressure [psi],38,61",
            "",
            head,
            *three,
        ),
        "the summary stands first and looks like a table with a heading",
        read(12, LONG, BASE),
        refuse(),
        ask("two tables"),
    )
    gps_t = [*cells(steps(0, 1.0, 6), 1), *[""] * 6]
    gps_v = [*cells(line(11, 29, 6)), *[""] * 6]
    put(
        "b033_two_tables_side_by_side.csv",
        text(
            "Time [s],Engine RPM,Oil pressure [psi],,Time [s],GPS speed [mph]",
            *rows(",", cells(T, 1), cells(RPM), cells(OIL), [""] * 12, gps_t, gps_v),
        ),
        "the right table has its own clock at half the rate: 29 mph belongs to 5 s, not to 2.5 s",
        read(12, LONG, BASE),
        ask("two time columns", BASE),
        refuse(),
    )
    put(
        "b034_two_trucks_stacked.csv",
        text(
            "Unit 12",
            head,
            *three[:6],
            "",
            "Unit 19",
            head,
            *rows(",", cells(T[:6], 1), cells(line(702, 1210, 6)), cells(line(22, 30, 6))),
        ),
        "two trucks in one file under the same headings: they must not become one engine",
        read(6, 2.5, {k: (v[:6], u) for k, (v, u) in BASE.items()}, [10]),
        ask("two tables"),
        refuse(),
    )
    put(
        "b035_on_its_side.csv",
        text(
            "Time [s]," + ",".join(cells(T, 1)),
            "Engine RPM," + ",".join(cells(RPM)),
            "Oil pressure [psi]," + ",".join(cells(OIL)),
        ),
        "the channels are rows",
        read(12, LONG, BASE),
        refuse(),
        ask("headings"),
    )
    tall = []
    for t, r, o in zip(T, RPM, OIL, strict=True):
        tall += [f"{t:.1f};Engine speed;{r:.0f};rpm", f"{t:.1f};Oil pressure;{o:.0f};psi"]
    put(
        "b036_one_value_a_row.csv",
        text("Time (s);Channel;Value;Unit", *tall),
        "one value a row: every second value is another channel's",
        read(12, LONG, BASE),
        refuse(),
        ask("headings"),
    )


def all_rows() -> None:
    lengths()
    widths()
    spreadsheets()
    pauses()
    ends()
