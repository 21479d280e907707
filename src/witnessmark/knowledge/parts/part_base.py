"""The base of all pack parts and the kinds of value they are made of."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

__all__ = [
    "Chance",
    "Drive",
    "Id",
    "PackPart",
    "PointWindow",
    "SourcePart",
    "StatePart",
    "Text",
    "Three",
    "TruckState",
    "Words",
]

Id = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{0,59}$")]
Text = Annotated[str, StringConstraints(max_length=2000)]
Words = Annotated[str, StringConstraints(min_length=1, max_length=2000)]
Chance = Annotated[float, Field(gt=0, lt=1)]
Three = Annotated[tuple[float, float, float], Field(description="low, typical, high")]
#: What the driver may do with the truck, the strictest first.
Drive = Literal["park", "tow", "limp", "drive"]
#: What a truck may be in; a step says in which of them it can be made all the same.
TruckState = Literal["no_crank", "no_start", "crawl", "no_air", "not_to_be_driven", "told_to_stay"]


class PackPart(BaseModel):
    """Base of all parts: unknown keys are faults, numbers are finite."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class SourcePart(PackPart):
    """Where numbers come from; other parts name it by its key."""

    kind: Literal["judgement", "handbook", "measured"] = Field(
        description="`judgement`, `handbook` or `measured`"
    )
    words: Words = Field(
        description="the source in words: which book and page, which instrument, whose judgement"
    )


class StatePart(PackPart):
    """The state a test or a repair needs."""

    engine: Literal["off", "key_on", "cranking", "idle", "running", "loaded"] = Field(
        default="off", description="what the engine does meanwhile"
    )
    temperature: Literal["any", "cold", "warm", "hot"] = Field(
        default="any", description="how warm the engine is"
    )
    road: bool = Field(default=False, description="true when it is done on the road")
    lifted: bool = Field(default=False, description="true when an axle or a weight is lifted")
    second_person: bool = Field(default=False, description="true when two people are needed")
    air: Literal["any", "needed", "released"] = Field(
        default="any", description="brake air: `needed` up, `released` drained, or `any`"
    )
    battery: Literal["any", "disconnected"] = Field(
        default="any", description="`disconnected` when the battery has to be off"
    )
    outdoors: bool = Field(
        default=False, description="true when it must be done outdoors or with the exhaust hose on"
    )


class PointWindow(PackPart):
    """The operating points at which something holds."""

    rpm: tuple[float, float] | None = Field(default=None, description="engine speeds, from and to")
    load: tuple[float, float] | None = Field(
        default=None, description="loads, from and to, in percent"
    )
