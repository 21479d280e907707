"""Bus adapters that only listen: how each is opened so, and the bit rate found without a word.

An adapter that takes part answers every frame with an acknowledgement bit, and answers what it
cannot read (every frame, at a wrong bit rate) with an error flag that destroys the frame for all
others. So an adapter is opened listening only wherever its driver knows how, and a bit rate is
tried out with nothing else.
"""

from __future__ import annotations

import inspect
import time
from collections.abc import Sequence
from typing import Any

from witnessmark.errors import InputRefused, NothingUsable

__all__ = ["RATES", "find_bitrate", "quiet_options"]

#: Bit rates of SAE J1939-11/-15 and -14 [bit/s].
RATES = (250_000, 500_000)
#: Frames that make a bit rate the right one, and how long each rate is listened to [s]. An engine
#: that sends J1939 sends its speed every 10 to 20 ms (J1939-71).
_ENOUGH, _LISTEN_S = 5, 2.0


def quiet_options(interface: str) -> dict[str, Any] | None:
    """Return with what a driver is opened listening only, ``None`` where it knows no way.

    It is read off the driver itself: drivers of python-can that know the mode take it as
    ``listen_only``, ``monitor`` or the state to begin in.
    """
    import can  # noqa: PLC0415  (slow to load)

    try:
        module, name = can.interfaces.BACKENDS[interface]
        driver = getattr(__import__(module, fromlist=[name]), name)
        known = inspect.signature(driver.__init__).parameters
    except (KeyError, ImportError, AttributeError, ValueError, OSError):
        return None
    for word in ("listen_only", "monitor"):
        if word in known:
            return {word: True}
    return {"state": can.BusState.PASSIVE} if "state" in known else None


def find_bitrate(
    interface: str, channel: str, *, rates: Sequence[int] = RATES, listen_s: float = _LISTEN_S
) -> int:
    """Listen at each bit rate in turn and return the one at which frames can be read [bit/s].

    Args:
        interface: the driver, as python-can names it.
        channel: the adapter.
        rates: what is tried [bit/s].
        listen_s: how long at each [s].

    Raises:
        InputRefused: the adapter cannot be told to listen only, or cannot be opened.
        NothingUsable: no frame could be read at any of them.
    """
    import can  # noqa: PLC0415

    where = f"{interface}:{channel}"
    quiet = quiet_options(interface)
    if quiet is None:
        raise InputRefused(
            "The bit rate is not tried out with this adapter: its driver cannot tell it to listen "
            "only, and at a wrong rate it would put error flags on the bus, which disturb the "
            "truck's control units.",
            where=where,
            do="Give --bitrate 250000 or 500000: the truck's wiring diagram, or the colour of the "
            "connector, says which.",
        )
    for rate in rates:
        try:
            bus = can.Bus(interface=interface, channel=channel, bitrate=rate, **quiet)
        except (can.CanError, OSError, ValueError, ImportError, TypeError) as error:
            reason = (str(error).splitlines() or [type(error).__name__])[0][:160]
            raise InputRefused(
                f"The bus cannot be opened: {reason.rstrip('.')}.",
                where=where,
                do="Check the adapter, its driver and the name of the bus.",
            ) from None
        try:
            if _read(bus, listen_s) >= _ENOUGH:
                return rate
        finally:
            bus.shutdown()
    raise NothingUsable(
        "Nothing can be read at "
        + " or ".join(f"{rate:,}" for rate in rates)
        + " bits per second; nothing was sent.",
        where=where,
        do="Check the connector and the key.",
    )


def _read(bus: Any, listen_s: float) -> int:
    """Count whole frames until there are enough; one error says that the rate is another."""
    count, end = 0, time.monotonic() + listen_s
    while count < _ENOUGH and (left := end - time.monotonic()) > 0:
        frame = bus.recv(left)
        if frame is not None and frame.is_error_frame:
            return 0
        count += frame is not None
    return count
