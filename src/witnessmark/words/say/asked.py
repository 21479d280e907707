"""What is said on the page that asks the customer for a yes, line by line."""

from __future__ import annotations

from witnessmark.words.catalogue import sentence


@sentence("ask.title")
def title() -> str:
    """Head the page."""
    return "Your answer, please"


@sentence("ask.how")
def how() -> str:
    """Say how the page is answered."""
    return (
        "Accept or decline each line, write your name, and save your answer. Send the saved file "
        "back to us, or print this page, sign it and send a photo. You can also call us."
    )


@sentence("ask.how_online")
def how_online() -> str:
    """Say how the page is answered behind a link."""
    return "Accept or decline each line, write your name, and send your answer."


@sentence("ask.accept")
def accept() -> str:
    """Say yes to a line."""
    return "accept"


@sentence("ask.decline")
def decline() -> str:
    """Say no to a line."""
    return "decline"


@sentence("ask.name")
def name() -> str:
    """Ask for the name."""
    return "Your name"


@sentence("ask.words")
def words() -> str:
    """Ask for anything else."""
    return "Anything you want to add"


@sentence("ask.save")
def save() -> str:
    """Name the button that saves the answer."""
    return "Save my answer as a file"


@sentence("ask.send")
def send() -> str:
    """Name the button that sends the answer."""
    return "Send my answer"


@sentence("ask.taken")
def taken() -> str:
    """Say that an answer came in."""
    return "Your answer has been taken down. Thank you."


@sentence("ask.until", day="2026-03-09")
def until(day: str) -> str:
    """Say until when it can be answered."""
    return f"You can answer until {day}."


@sentence("ask.risk_stop")
def risk_stop() -> str:
    """Say in plain words what it means to leave a line of the worst class."""
    return "If you decline: do not drive the truck. It can hurt somebody or leave you stranded."


@sentence("ask.risk_soon")
def risk_soon() -> str:
    """Say what it means to leave a line of the middle class."""
    return "If you decline: have it done soon. It gets worse or dearer."


@sentence("ask.risk_watch")
def risk_watch() -> str:
    """Say what it means to leave a line of the mildest class."""
    return "If you decline: keep an eye on it and have it looked at at the next service."


@sentence("ask.law")
def law() -> str:
    """Say that local law decides."""
    return "How a yes must be given, and what it binds you to, is a matter of your local law."


@sentence("ask.sign")
def sign() -> str:
    """Ask for a signature on paper."""
    return "Signature, date"
