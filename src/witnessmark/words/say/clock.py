"""What is said of time on the clock: what runs, what it comes to, when a stop was forgotten."""

from __future__ import annotations

from witnessmark.words.catalogue import sentence

__all__ = [
    "backwards", "diagnosis", "forgotten", "running", "span", "summed", "summed_of", "together",
]  # fmt: skip


@sentence("clock.span", minutes=70)
def span(minutes: float) -> str:
    """Return a time as it is spoken: 45 min, 1 h 10."""
    whole = int(minutes + 0.5)
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60:02d}"


@sentence("clock.diagnosis")
def diagnosis() -> str:
    """Name the search for the fault as a job."""
    return "diagnosis"


@sentence(
    "clock.running", person="A. Example", job="diagnosis", minutes=35, begun="09:20", beside=True
)
def running(person: str, job: str, minutes: float, begun: str, beside: bool) -> str:
    """Say what runs, and that it counts in part while another runs beside it."""
    shared = "; another job ran beside it, that time is shared, half each unless told" * beside
    return f"{person} on {job} since {begun}: {span(minutes)}{shared}."


@sentence("clock.forgotten", person="A. Example", job="diagnosis", begun="2031-04-02 15:10")
def forgotten(person: str, job: str, begun: str) -> str:
    """Ask when a job ended that nobody stopped."""
    return (
        f"{person}, when did you stop {job}? It was begun {begun} and not stopped that day within "
        "12 hours; it counts nothing until you say."
    )


@sentence("clock.backwards", person="A. Example", job="diagnosis", begun="2031-04-02 15:10")
def backwards(person: str, job: str, begun: str) -> str:
    """Ask when a job ended whose stop lies before its start."""
    return (
        f"{person}, when did you stop {job}? Its stop lies before its start ({begun}), so a clock "
        "was wrong; it counts nothing until you say."
    )


def _open(running: bool, asked: int) -> str:
    ends = f", {asked} {'end' if asked == 1 else 'ends'} not said and not counted" * bool(asked)
    return ", running" * running + ends


@sentence("clock.summed", person="A. Example", job="diagnosis", minutes=45, running=True, asked=1)
def summed(person: str, job: str, minutes: float, running: bool, asked: int) -> str:
    """Say what one person was clocked on one job."""
    return f"{person}, {job}: clocked {span(minutes)}{_open(running, asked)}."


@sentence(
    "clock.summed_of", person="A. Example", job="Relief valve renewed", minutes=70, of=90,
    running=False, asked=0,
)  # fmt: skip
def summed_of(person: str, job: str, minutes: float, of: float, running: bool, asked: int) -> str:
    """Say what one person was clocked on one job, beside the hours of the estimate."""
    return f"{person}, {job}: clocked {span(minutes)} of {span(of)}{_open(running, asked)}."


@sentence("clock.together", minutes=130, of=90)
def together(minutes: float, of: float) -> str:
    """Say what all persons together were clocked on a job, beside the hours of the estimate."""
    return f"Together clocked {span(minutes)} of {span(of)}."
