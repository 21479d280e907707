"""What is said of a line from the bay: what it was taken for, and what is asked back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from witnessmark.words.catalogue import sentence


@sentence("line.ask_quantity", figure="83")
def ask_quantity(figure: str) -> str:
    """Ask what a figure is of."""
    return f"{figure} of what: fuel, oil, boost, coolant, which pressure or temperature?"


@sentence("line.ask_is_it", quantity="fuel gallery pressure")
def ask_is_it(quantity: str) -> str:
    """Ask whether a figure is of what this case is usually measured by."""
    return f"Is that the {quantity}? It was not said."


@sentence("line.ask_is_it_check", name="came on slowly over weeks")
def ask_is_it_check(name: str) -> str:
    """Ask whether a look or test of a pack is meant."""
    return f"Is that: {name}?"


@sentence("line.ask_unit", figure="83", unit="psi")
def ask_unit(figure: str, unit: str) -> str:
    """Ask for the unit of a figure."""
    return f"{figure} in which unit{f': {unit}' if unit else ''}?"


@sentence("line.ask_bound", figure="19 psi", highest=True)
def ask_bound(figure: str, highest: bool) -> str:
    """Ask whether a figure is the most or the least that was read."""
    return f"Is {figure} the {'highest' if highest else 'lowest'} that it read?"


@sentence("line.ask_degrees", figure="361")
def ask_degrees(figure: str) -> str:
    """Ask for the scale of a temperature."""
    return f"{figure} degrees Fahrenheit or Celsius?"


@sentence("line.ask_rpm")
def ask_rpm() -> str:
    """Ask for the engine speed."""
    return "At what rpm (speed), and under what load?"


@sentence("line.ask_same_point", figure="58 psi", what="hot")
def ask_same_point(figure: str, what: str) -> str:
    """Ask whether what was said of one figure holds for the other."""
    return f"Was the {figure} {what}, too?"


@sentence("line.ask_which_point")
def ask_which_point() -> str:
    """Ask which figure belongs to which point."""
    return "Which figure belongs to which speed or load?"


@sentence("line.ask_figure", figure="28")
def ask_figure(figure: str) -> str:
    """Ask whether a figure was heard rightly."""
    return f"Was that {figure}?"


@sentence("line.ask_swings")
def ask_swings() -> str:
    """Ask between what a needle swings."""
    return "It swings between what and what?"


@sentence("line.ask_before_after")
def ask_before_after() -> str:
    """Ask what before and after speak of."""
    return "Before and after what work, or before and after in the line (upstream)? In which unit?"


@sentence("line.ask_possible", figure="900 F")
def ask_possible(figure: str) -> str:
    """Say that a figure cannot be."""
    return f"{figure} cannot be: a slip, the wrong gauge, sign or unit?"


@sentence("line.ask_change", figure="12 psi")
def ask_change(figure: str) -> str:
    """Ask for the two values of a change."""
    return (
        f"{figure} is a change: of which pressure or other value, from what to what, and which "
        "one counts?"
    )


@sentence("line.ask_one_of", figures=["15", "50"])
def ask_one_of(figures: Sequence[str]) -> str:
    """Ask which of several figures it is."""
    return f"Which is it: {' or '.join(figures)}, and of what?"


@sentence("line.ask_fmi", spn=3251)
def ask_fmi(spn: int) -> str:
    """Ask for the failure mode of a code."""
    return f"Code {spn}: which system, SPN and FMI? Active?"


@sentence("line.ask_letter_code", code="P0087")
def ask_letter_code(code: str) -> str:
    """Ask for the SPN and FMI of a letter code."""
    return f"{code}: does the engine controller of this truck speak SPN? What are SPN and FMI?"


@sentence("line.ask_active")
def ask_active() -> str:
    """Ask whether a code is active."""
    return "Active or inactive, how often (count), from which source, which lamp?"


@sentence("line.ask_codes")
def ask_codes() -> str:
    """Ask for the codes themselves."""
    return "Which codes are they, and when? Write them down before clearing."


@sentence("line.ask_each", what="the count")
def ask_each(what: str) -> str:
    """Ask whether something holds for each."""
    return f"Does {what} hold for each of them?"


@sentence("line.ask_hearsay")
def ask_hearsay() -> str:
    """Ask that somebody's word be measured."""
    return "Somebody's word: what did they measure, with what, how hot, and when?"


@sentence("line.ask_result", test="Gas test")
def ask_result(test: str) -> str:
    """Ask for the result of a test."""
    return f"{test}: what did it show?"


@sentence("line.ask_which_part", part="fuel filter")
def ask_which_part(part: str) -> str:
    """Ask which part it was."""
    return f"Which {part} exactly (primary or secondary, which side, which unit)?"


@sentence("line.ask_price", figures=["58", "4"])
def ask_price(figures: Sequence[str]) -> str:
    """Ask whether figures after parts are prices."""
    return f"Are {' and '.join(figures)} dollars?"


@sentence("line.ask_order")
def ask_order() -> str:
    """Ask about an order."""
    return "Ordered with whom, under which number, and when is the core due?"


@sentence("line.ask_torque")
def ask_torque() -> str:
    """Ask for the source of a torque."""
    return "Torqued to what figure, from which manual (book) and page?"


@sentence("line.ask_complaint")
def ask_complaint() -> str:
    """Ask which complaint an outcome is about."""
    return "Which complaint, and on the same load and grade?"


@sentence("line.ask_approval")
def ask_approval() -> str:
    """Ask what was approved."""
    return "Which lines of the estimate, said how, up to how much?"


@sentence("line.ask_decline")
def ask_decline() -> str:
    """Ask for the risk of what was declined."""
    return "What is the risk without it: do not drive, soon, or watch?"


@sentence("line.ask_retract")
def ask_retract() -> str:
    """Ask which entry is taken back."""
    return "Which reading or entry, of which quantity, is taken back, and why? Enter it anew."


@sentence("line.ask_dash")
def ask_dash() -> str:
    """Ask what a gauge and the dash were held against each other on."""
    return "Fuel or oil pressure? Is the gauge mechanical, and when was it checked?"


@sentence("line.ask_on_dash")
def ask_on_dash() -> str:
    """Ask that a figure off the dash be confirmed."""
    return "Read off the dash: which pressure is it? Confirm it with a gauge."


@sentence("line.ask_load")
def ask_load() -> str:
    """Ask for the load."""
    return "Under what load?"


@sentence("line.ask_stage")
def ask_stage() -> str:
    """Ask whether a figure is from before or after the work."""
    return "Read before or after the work?"


@sentence("line.ask_miles")
def ask_miles() -> str:
    """Ask for the unit of an odometer."""
    return "Miles or kilometres?"


@sentence("line.ask_inspect")
def ask_inspect() -> str:
    """Ask what a look at a part of the truck came to."""
    return (
        "Left or right, inner or outer, which pressure was applied; was it measured, how much, "
        "and what is the limit (book)? Pass or fail?"
    )


@sentence("line.ask_plain")
def ask_plain() -> str:
    """Ask what was meant where nothing could be taken."""
    return (
        "What was seen or measured (what did it read), where, with which test, how far and "
        "under what load?"
    )


@sentence("line.ask_who_measured")
def ask_who_measured() -> str:
    """Ask for what stands behind a limit."""
    return "Where is that from: which book and page, a sister truck or memory, and at which point?"


@sentence("line.ask_guess")
def ask_guess() -> str:
    """Ask whether a guess was seen."""
    return "Was that seen, or only thought? What was measured?"


@sentence("line.ask_fluid")
def ask_fluid() -> str:
    """Ask which fluid a leak is of."""
    return "Which fluid, from where, under pressure or running, washed and dried first?"


@sentence("line.ask_smoke")
def ask_smoke() -> str:
    """Ask for the point of a look at the smoke."""
    return "At what load, cold or warm (hot), standing or on a pull?"


@sentence("line.ask_gone_where")
def ask_gone_where() -> str:
    """Ask what does not happen."""
    return "What does it, or what does it not: vibration (shake), smoke, noise?"


@sentence("line.ask_bubbles")
def ask_bubbles() -> str:
    """Ask where bubbles were seen."""
    return "Bubbles in the fuel (clear hose fitted where?) or in the coolant tank?"


@sentence("line.ask_level")
def ask_level() -> str:
    """Ask for a level."""
    return "What does the stick say: engine oil or coolant, how much?"


@sentence("line.kept_as_note")
def kept_as_note() -> str:
    """Say that words are kept."""
    return "Not understood; kept as a note."


@sentence("line.note", line="fan hums", left="hums")
def note(line: str, left: str) -> str:
    """Form the note that keeps what no entry was made of."""
    return f"Said: {line}" if left == line else f"Said: {line} (not taken: {left})"


@sentence("line.nothing")
def nothing() -> str:
    """Say that nothing was understood."""
    return "Nothing was taken from the line; it is kept as a note."


_ENGINE = {"off": "engine off", "key_on": "key on, engine off", "cranking": "cranking",
           "idle": "at idle", "running": "running"}  # fmt: skip


@sentence("line.card_reading", quantity="oil_pressure", value="41 psi", point={"engine": "idle"})
def card_reading(quantity: str, value: str, point: Mapping[str, Any]) -> str:
    """Say a reading: what, how much, where the engine was."""
    words = [f"{quantity.replace('_', ' ')} {value}"]
    if point.get("engine"):
        words.append(_ENGINE[str(point["engine"])])
    if point.get("rpm") is not None:
        words.append(f"{float(point['rpm']):,.0f} rpm")
    if point.get("load"):
        load = str(point["load"])
        words.append({"none": "no load", "full": "full load"}.get(load, f"load {load}"))
    if point.get("warm") is not None:
        words.append("warm" if point["warm"] else "cold")
    return ", ".join(words)


@sentence("line.card_code", data={"spn": 100, "fmi": 1, "active": True, "count": 5})
def card_code(data: Mapping[str, Any]) -> str:
    """Say a trouble code."""
    words = [f"code SPN {data['spn']} FMI {data['fmi']}"]
    if "active" in data:
        words.append("active" if data["active"] else "inactive")
    if data.get("count") is not None:
        words.append(f"{data['count']} times")
    if data.get("lamp"):
        words.append(f"{data['lamp']} lamp")
    if data.get("source") is not None:
        words.append(f"from address {data['source']}")
    return ", ".join(words)


_KIND = {"work": "work", "part": "part", "labour": "time", "outcome": "the customer's word",
         "retract": "take back", "approval": "customer agreed", "decline": "customer said no",
         "visit": "odometer", "inspect": "looked at", "note": "note"}  # fmt: skip


@sentence("line.card_other", kind="part", data={"name": "water pump", "state": "ordered"})
def card_other(kind: str, data: Mapping[str, Any]) -> str:
    """Say any other card: its kind and what it holds."""
    words = []
    for key, value in data.items():
        if key == "parts":
            words.append(" and ".join(str(p["name"]) for p in value))
        elif key == "minutes":
            words.append(f"{value} min")
        elif key == "gone":
            words.append({True: "gone", False: "not gone"}.get(value, "partly gone"))
        elif key == "granted":
            continue
        elif key == "limit_usd":
            words.append(f"up to {value:g} USD")
        elif key not in {"cause"} and value != "":
            words.append(str(value))
    return f"{_KIND.get(kind, kind)}: {', '.join(words)}" if words else _KIND.get(kind, kind)
