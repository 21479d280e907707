"""What stands on every paper of a shop besides its name."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ShopHead"]


@dataclass(frozen=True, slots=True)
class ShopHead:
    """The shop as its papers name it; every field may be empty.

    Attributes:
        name: the shop.
        address: one line.
        phone: as it is dialled.
        licence: number of its licence or registration.
        warranty: the words on warranty that the shop has chosen.
    """

    name: str = ""
    address: str = ""
    phone: str = ""
    licence: str = ""
    warranty: str = ""
