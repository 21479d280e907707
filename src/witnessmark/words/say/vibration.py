"""What is said of a shake: what it follows, its lines, and why clock or damper stay open."""

from __future__ import annotations

from witnessmark.words.catalogue import sentence


@sentence("shake.little_high", name="first driveshaft order")
def little_high(name: str) -> str:
    """Say that a line is high, but not clearly."""
    return f"the {name} is a little high, but healthy trucks can show that much"


@sentence("shake.same_drive")
def same_drive() -> str:
    """Ask for the same drive again."""
    return "record the same drive while it shakes hard, and a sister truck on the same road"


@sentence("shake.too_short")
def too_short() -> str:
    """Say that nothing stands out and the recording is short."""
    return "no line stands above healthy trucks, and it is too short to look for a resonance"


@sentence("shake.record_longer")
def record_longer() -> str:
    """Ask for a longer recording."""
    return "record 20 s or more in gear"


@sentence("shake.nothing_stands_out")
def nothing_stands_out() -> str:
    """Say that nothing stands out."""
    return "no line stands above healthy trucks"


@sentence("shake.speed_hardly_changed", hertz=14.2)
def speed_hardly_changed(hertz: float) -> str:
    """Say that a peak cannot be told from an order."""
    return (
        f"there is a peak at {hertz:.1f} Hz, but the speed hardly changed: it may follow the "
        "engine or the road as well"
    )


@sentence("shake.pull_two_gears")
def pull_two_gears() -> str:
    """Ask for a slow pull in two gears."""
    return "pull slowly through the rpm range in two gears"


@sentence("shake.peak_stays", hertz=14.2)
def peak_stays(hertz: float) -> str:
    """Say that a peak follows no speed."""
    return f"a peak stays at {hertz:.1f} Hz whatever the speeds do"


@sentence("shake.equally_strong")
def equally_strong() -> str:
    """Say that nothing leads."""
    return "a fixed peak and several lines are about equally strong"


@sentence("shake.second_gear")
def second_gear() -> str:
    """Ask for a sweep in another gear."""
    return "sweep slowly in a second gear"


@sentence("shake.same_pull", one_gear=True)
def same_pull(one_gear: bool) -> str:
    """Ask for what parts two lines that fall together."""
    if one_gear:
        return "drive the same pull in a second gear, not the direct one"
    return "sweep each gear slowly from low to high rpm, 20 s or more"


@sentence("shake.fall_together", one="first driveshaft order", other="first engine order")
def fall_together(one: str, other: str) -> str:
    """Say that two lines cannot be told apart here."""
    return f"the {one} and the {other} fall together in this recording"


@sentence("shake.both_high", one="first wheel order", other="first engine order")
def both_high(one: str, other: str) -> str:
    """Say that two lines are high."""
    return f"the {one} and the {other} are both high: there may be two causes"


@sentence("shake.line_and_peak", name="first wheel order", hertz=14.2)
def line_and_peak(name: str, hertz: float) -> str:
    """Say that a line and a peak are high."""
    return (
        f"the {name} and a peak that stays at {hertz:.1f} Hz are both high: there may be two causes"
    )


@sentence("shake.cure_stronger")
def cure_stronger() -> str:
    """Ask to cure the stronger and record again."""
    return "cure the stronger one and record again"


@sentence("shake.leads", name="first wheel order", rms=0.42)
def leads(name: str, rms: float) -> str:
    """Say which line leads."""
    return f"the {name} leads with {rms:.2f} m/s2"


@sentence("shake.together_every_gear", one="fan", other="first engine order", order=1.0)
def together_every_gear(one: str, other: str, order: float) -> str:
    """Warn that two lines fall together in every gear."""
    pair = f"the {one} and the {other} fall together (engine order {order:.2f})"
    return f"In every gear {pair}: only belts off, or the fan held, tells them apart."


@sentence(
    "shake.together_in_gear", gear="10", one="driveshaft", other="first engine order", order=1.0
)
def together_in_gear(gear: str, one: str, other: str, order: float) -> str:
    """Warn that two lines fall together in one gear."""
    pair = f"the {one} and the {other} fall together (engine order {order:.2f})"
    return f"In gear {gear} {pair}: a recording in this gear alone cannot tell them apart."


@sentence(
    "shake.folds", line="third engine order", true_hz=75.0, shown_hz=25.0, onto="first engine order"
)
def folds(line: str, true_hz: float, shown_hz: float, onto: str) -> str:
    """Warn that sampling folds one line onto another."""
    return f"The {line} at {true_hz:.0f} Hz folds to {shown_hz:.0f} Hz and looks like the {onto}."


@sentence("shake.no_blips")
def no_blips() -> str:
    """Say why two clocks cannot be set by blips."""
    return "no throttle blips at the start of the recording"


@sentence("shake.no_overlap")
def no_overlap() -> str:
    """Say that two recordings do not overlap."""
    return "the two recordings do not overlap"


@sentence("shake.blips_unseen")
def blips_unseen() -> str:
    """Say that the blips are not seen."""
    return "the blips do not show in the vibration"


@sentence("shake.two_offsets")
def two_offsets() -> str:
    """Say that the clocks stay open."""
    return "two offsets fit almost equally well"


@sentence("shake.pull_disagrees")
def pull_disagrees() -> str:
    """Say that pull and blips disagree."""
    return "the pull fits another offset than the blips"


@sentence("shake.clock_not_confirmed")
def clock_not_confirmed() -> str:
    """Say that blips alone gave the clock."""
    return (
        "nothing outside the blips confirms the clocks, and a pause of the recorder would hide "
        "the shake; to settle it, blip three times again, then pull slowly in one gear at once"
    )


@sentence("shake.few_orders")
def few_orders() -> str:
    """Say why a damper fit gives no verdict."""
    return "fewer than two orders pass the twist mode; sweep higher"


@sentence("shake.damping_rough")
def damping_rough() -> str:
    """Say the same of a rough damping."""
    return "the damping is known too roughly; sweep more slowly or several times"


@sentence("shake.not_one_mode")
def not_one_mode() -> str:
    """Say the same of orders that do not fit."""
    return "the orders do not look like one twist mode, nor two; check marks and wheel"
