"""The owner's page: a small map, what the wire does and does not do, daily care, whom to call, and the quote."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from parcelfence.outputs.cautions import DAILY_CARE, OWNER_CALLS, WHAT_IT_DOES, WHAT_IT_DOES_NOT
from parcelfence.outputs.escaping import html_text
from parcelfence.outputs.figures import figures
from parcelfence.outputs.picture import picture, picture_key
from parcelfence.outputs.sheet_page import fact_list, section, sheet_page, stacked_table
from parcelfence.outputs.worksheet_sections import property_words
from parcelfence.takeoff.pricing import SAW_CUTS
from parcelfence.units import unit_system

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from parcelfence.finished_plan import Plan
    from parcelfence.outputs.delivery import Delivery
    from parcelfence.takeoff.materials import Material

__all__ = ["NAME", "owner_page", "write"]

NAME: Final = "owner.html"
_MAP_PX: Final = (340.0, 270.0)
"""Fits a phone, and half of a printed page."""
_ORIGIN: Final = (
    "General words, common practice and from memory: the makers of transmitter and receiver, local law, and whoever "
    "knows the animal come first. Lines in the ground may lie elsewhere than drawn."
)


def write(delivery: Delivery, folder: Path) -> None:
    """Write ``owner.html``."""
    page = owner_page(delivery.plan)
    (folder / NAME).write_text(page, encoding="utf-8", errors="replace", newline="\n")


def owner_page(plan: Plan) -> str:
    """Make the page.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    str
        One HTML page that needs nothing from outside and prints on one sheet.
    """
    width_px, height_px = _MAP_PX
    drawn = picture(plan, width_px=width_px, height_px=height_px, findings=False)
    left = f"<figure>{drawn}{picture_key(plan)}</figure>{fact_list(_facts(plan))}{_open(plan)}"
    left += f'<div class="last">{section("Quote", _quote(plan))}</div>'
    right = section("What it does", f"<p>{html_text(WHAT_IT_DOES)}</p>")
    right += section("What it does not do", _list(WHAT_IT_DOES_NOT)) + section("Every day", _list(DAILY_CARE))
    right += section("Whom to call", _calls())
    body = f'<main class="owner two"><div>{left}</div><div>{right}</div></main>'
    return sheet_page("Your boundary wire", subtitle=property_words(plan), body=body, origin=_ORIGIN)


def _list(lines: Iterable[str]) -> str:
    return '<ul class="remarks">' + "".join(f"<li>{html_text(line)}</li>" for line in lines) + "</ul>"


def _facts(plan: Plan) -> list[tuple[str, str]]:
    found, units = figures(plan), unit_system(plan.settings.units)
    share = found.reach_uncertainty_m / plan.zones.receiver.reach_m

    def near(reach_m: float) -> str:
        return units.uncertain_length(reach_m, uncertainty_m=share * reach_m)

    reaches = [("Receiver reacts within", near(plan.zones.receiver.reach_m))]
    reaches = [
        (f"{one.animal.name}: reacts within", near(one.zones.receiver.reach_m)) for one in plan.animals
    ] or reaches
    return [
        ("Free to roam", units.area(found.free_area_m2)),
        *reaches,
        ("Wire in the ground", units.length(found.loop_ground_length_m, digits=0)),
        ("Flags for training", str(found.flags)),
    ]


def _open(plan: Plan) -> str:
    """Say that a plan is not finished where it is not: the owner pays for it."""
    grave = sum(conflict.severity == "must_fix" for conflict in plan.conflicts)
    if not grave:
        return ""
    return (
        f'<p class="stop">{grave} finding{"s" if grave > 1 else ""} of this plan must be fixed before anybody digs. '
        "Ask your installer; the worksheet lists them.</p>"
    )


def _calls() -> str:
    rows = [(f"<b>{html_text(whom)}</b>: {html_text(when)}", "") for whom, when in OWNER_CALLS]
    return stacked_table(("Whom, and when", "Telephone"), rows, room=(1,), stack=False)


def _quote(plan: Plan) -> str:
    """Set what has a price, and the total; nothing where no price and no rate was given."""
    take_off = plan.take_off
    if take_off.cost is None and take_off.hours is None:
        return ""
    rows = list(_quote_rows(plan))
    if take_off.cost is not None:
        rows.append(("<b>Total of the above</b>", "", f"<b>{take_off.cost:,.2f}</b>"))
    left_out = [html_text(item.item) for item in take_off.materials if item.cost is None and not _paid(plan, item)]
    said = f" Not in it: {', '.join(left_out)}." if left_out else ""
    without_rate = any(one.cost is None for one in take_off.labour)
    said += " Hours are not in the total: no hourly rate was given." if without_rate else ""
    said += "" if take_off.labour else " Labour is not in it."
    return (
        stacked_table(("What", "Quantity", "Amount"), rows, figures=(1, 2), stack=False)
        + f'<p class="small">In the currency of the given prices; quantities with spare, by this plan.{said} '
        "Transmitter, receivers and training are quoted apart.</p>"
    )


def _paid(plan: Plan, item: Material) -> bool:
    """Say whether an item without a price is paid in others: wire in its spools, or spools in their wire."""
    paid = {other.price_name for other in plan.take_off.materials if other.cost is not None}
    by_length = {"single_wire_per_m", "twisted_pair_per_m"}
    if item.price_name == "spool":
        return bool(paid & by_length)
    cut = item.price_name == "saw_cut_per_m" and any(one.work == SAW_CUTS for one in plan.take_off.labour)
    return cut or (item.price_name in by_length and "spool" in paid)


def _quote_rows(plan: Plan) -> Iterator[tuple[str, str, str]]:
    units = unit_system(plan.settings.units)
    for item in plan.take_off.materials:
        if item.cost is not None:
            length = item.unit == "m"
            amount = units.length(item.with_spare, digits=0) if length else f"{math.ceil(item.with_spare - 1e-9):,}"
            yield html_text(item.item[:1].upper() + item.item[1:]), amount, f"{item.cost:,.2f}"
    for one in plan.take_off.labour:
        amount = "" if one.cost is None else f"{one.cost:,.2f}"
        yield html_text(f"Labour: {one.work}"), f"{one.hours:,.1f} h", amount
