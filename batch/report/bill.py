"""What dirt cost, as the `--json` document tells it."""

from __future__ import annotations

from typing import Any

from siltbook.batch.numbers.bill import FarmBill, StationBill
from siltbook.batch.numbers.tradeoff import Priced, TradeOff


def station_loss_json(bill: StationBill) -> dict[str, Any]:
    """Head [m] and share of discharge (0 to 1) lost where the pump makes up for nothing; water."""
    return {
        "field_loss_m": bill.cost.mean_excess_m,
        "discharge_share_lost": bill.discharge.mean,
        "discharge_share_lost_most": bill.discharge.most,
        "flush_water_m3": bill.flush.volume,
    }


def farm_costs_json(bill: FarmBill, currency: str) -> dict[str, Any]:
    """Season totals [kWh, m3, the farm's currency], months, and the trade-off."""
    return {
        "currency": currency,
        "energy_kwh": bill.energy_kwh,
        "energy_cost": bill.energy_cost,
        "hand_cleanings": bill.cleanings,
        "labour_cost": bill.labour_cost,
        "flush_water_m3": bill.flush_water,
        "station_days_counted": bill.days,
        "gaps_left_out": bill.gaps,
        "not_known": [
            {"what": what, "why": why, "stations": list(names)} for what, why, names in bill.missing
        ],
        "months": [
            {"month": month, "energy_kwh": kwh, "energy_cost": cost}
            for month, kwh, cost in bill.months
        ],
        "trade_off": _trade_off(bill.trade_off),
    }


def _trade_off(weighed: TradeOff) -> dict[str, Any]:
    best = weighed.cheapest
    return {
        "silent": weighed.silent or None,
        "stations": list(weighed.stations),
        "runs": weighed.runs,
        "station_days": weighed.days,
        "left_out": [{"station": name, "why": why} for name, why in weighed.left_out],
        "drops": [{"drop_m": p.drop, **_priced(p)} for p in weighed.priced],
        "as_it_was": None if weighed.was is None else _priced(weighed.was),
        "cheapest_drop_m": None if best is None else best.drop,
    }


def _priced(priced: Priced) -> dict[str, Any]:
    return {
        "cleanings": priced.cleanings,
        "days_between": priced.days_between,
        "energy_kwh": priced.energy_kwh,
        "energy_cost": priced.energy_cost,
        "labour_cost": priced.labour_cost,
        "total_cost": priced.total,
        "share_beyond_readings": priced.beyond,
        "silent": priced.silent or None,
    }
