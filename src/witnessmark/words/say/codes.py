"""What is said of trouble codes: a code points, it proves nothing."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.words.catalogue import sentence
from witnessmark.words.strength import listed

_HOW = {"strong": "strongly", "fair": "fairly", "weak": "weakly"}


@sentence("codes.number", spn=3251, fmi=4)
def number(spn: int, fmi: int) -> str:
    """Name a code by its two numbers."""
    return f"SPN {spn} FMI {fmi}"


@sentence("codes.state", active=True, count=3, units=[0], lamps=["amber warning"])
def state(active: bool, count: int | None, units: Sequence[int], lamps: Sequence[str]) -> str:
    """Say how a code stands in its control unit."""
    said = ["active" if active else "was active before, not now"]
    if count is not None:
        said.append("once" if count == 1 else f"{count} times")
    if units:
        many = "unit" if len(units) == 1 else "units"
        said.append(f"told by control {many} {listed([str(u) for u in units], 'and')}")
    if lamps:
        said.append(f"{listed(list(lamps), 'and')} lamp on")
    return ", ".join(said)


@sentence("codes.known", code="SPN 3251 FMI 4", state="active", name="particulate filter pressure "
          "difference", mode="voltage too low, or shorted to ground", remark="also when the 5 V "
          "line is dead")  # fmt: skip
def known(code: str, state: str, name: str, mode: str, remark: str) -> str:
    """Say what a code of the open numbering means."""
    return f"{code} ({state}): {name}; {mode}{f' ({remark})' if remark else ''}."


@sentence("codes.unknown", code="SPN 520300 FMI 7", state="active", mode="moved part does not "
          "follow", own=True)  # fmt: skip
def unknown(code: str, state: str, mode: str, own: bool) -> str:
    """Say that the number is in no open list; it is kept."""
    whose = (
        "this number is given away by each maker himself" if own else "no open list has this number"
    )
    return (
        f"{code} ({state}): {whose}, so the maker's list says what it is; the failure mode says: "
        f"{mode}. It is kept and counts for nothing."
    )


@sentence("codes.points", how="strong", causes=["Filter full of ash"], elsewhere=False)
def points(how: str, causes: Sequence[str], elsewhere: bool) -> str:
    """Say what the packs point to by a code."""
    if not causes:
        return "The packs name no cause for it."
    more = " No complaint of the case is about that yet." if elsewhere else ""
    return f"It points {_HOW.get(how, 'fairly')} to: {'; '.join(causes)}.{more}"


@sentence("codes.follows")
def follows() -> str:
    """Say that a code follows from another fault."""
    return "It follows from another fault: look for the other code, and renew nothing for this one."


@sentence("codes.unlisted")
def unlisted() -> str:
    """Say that no pack says anything of a code."""
    return "No pack says what it points to: it is kept and counts for nothing."


@sentence("codes.proves", tests=["Pressure across the filter, by gauge"])
def proves(tests: Sequence[str]) -> str:
    """Say which test proves what a code points to."""
    if not tests:
        return "A code proves nothing; test before a part is renewed."
    return f"A code proves nothing; this does: {'; or '.join(tests)}."


@sentence("codes.meanwhile", drive="limp")
def meanwhile(drive: str) -> str:
    """Say what the driver may do until it was looked at."""
    said = {
        "park": "Until it is looked at: park it.",
        "tow": "Until it is looked at: it is towed, not driven.",
        "limp": "Until it is looked at: straight to the nearest bay, slowly.",
    }
    return said.get(drive, "")


@sentence("codes.before_its_reading", spn=3251)
def before_its_reading(spn: int) -> str:
    """Say that the circuit comes before the reading."""
    return (
        f"The circuit of SPN {spn} has a code of its own: repair that first, then believe the "
        "reading."
    )


@sentence("codes.one_supply", codes=["3251/4", "102/4"], supply=True)
def one_supply(codes: Sequence[str], supply: bool) -> str:
    """Say that several circuits may share a supply or a ground."""
    own = " The supply's own code is among them: begin there." if supply else ""
    return (
        f"Codes {', '.join(codes)} at once, all of the voltage of a circuit: look for the 5 V "
        f"line, the ground or the connector that they share before any of the sensors.{own}"
    )


@sentence("codes.one_network", codes=["639/9", "84/19"])
def one_network(codes: Sequence[str]) -> str:
    """Say that several messages are missing at once."""
    return (
        f"Codes {', '.join(codes)} at once, all of messages that do not come: look for the "
        "network, or for a unit without power, before any part that they name."
    )


@sentence("codes.low_voltage", codes=["3251/2", "84/9"])
def low_voltage(codes: Sequence[str]) -> str:
    """Say that the truck's voltage was low."""
    return (
        f"The truck's voltage has a code for being low, beside {', '.join(codes)}: charge and "
        "test batteries and cables first, clear, and see which codes come back."
    )


@sentence("codes.one_circuit", spn=3251, modes=["3", "4"])
def one_circuit(spn: int, modes: Sequence[str]) -> str:
    """Say that one circuit is told in several ways."""
    return (
        f"SPN {spn} has several failure modes ({', '.join(modes)}): one wire or plug that opens "
        "and touches does that; it is one fault until shown otherwise."
    )
