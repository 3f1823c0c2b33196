"""A farm's bill: sums over stations and months, and everything unknown with its reason."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import settings as effort
from hypothesis import strategies as st

from siltbook.batch.model import History
from siltbook.batch.numbers.bill import FarmBill, farm_bill
from siltbook.batch.numbers.costs import dirt_cost
from siltbook.batch.numbers.outlook import outlooks
from siltbook.batch.report.bill import farm_costs_json, station_loss_json
from siltbook.templates.book import Settings
from tests.amount import examples
from tests.numbers.logs import log, read, work

FARM = Settings(
    hours=6.0, efficiency=0.65, price=0.2, currency="coins", cleaning_hours=1.5,
    labour_price=12.0, cycle_minutes=1.0,
)  # fmt: skip


def named(name: str, history: History, **changes: object) -> History:
    station = replace(history.station, name=name, **changes)  # type: ignore[arg-type]
    return replace(history, station=station)


RISE = named(
    "Rise",
    log(
        *(read(7 * n, 1.0 + n) for n in range(5)),
        work(28),
        *(read(29 + 7 * n, 1.0 + n) for n in range(3)),
    ),
    emitter_exponent=0.5, wanted_field=15.0, flush_flow=6.0,
)  # fmt: skip
BARE = named("Bare", log(read(0, 2.0), read(7, 3.0), clean=None))
GAP = named("Gap", log(read(0, 2.0), read(5, 3.0), read(60, 4.0), read(67, 4.0), work(68, "flush")))


def bill(*histories: History, farm: Settings = FARM) -> FarmBill:
    ahead = outlooks(histories, farm, dt.date(2026, 8, 1))
    return farm_bill(list(zip(histories, ahead, strict=True)), farm)


def test_the_farm_is_the_sum_of_its_stations() -> None:
    found = bill(RISE, BARE, GAP)
    costs = [dirt_cost(h, FARM) for h in (RISE, GAP)]
    assert found.energy_kwh == pytest.approx(sum(c.energy_kwh or 0.0 for c in costs))
    assert found.energy_cost == pytest.approx((found.energy_kwh or 0.0) * 0.2)
    assert found.days == pytest.approx(sum(c.days_counted for c in costs))
    assert (found.gaps, found.cleanings, found.labour_cost) == (1, 1, 18.0)
    assert found.flush_water == 0.0


def test_months_add_up_to_the_season_and_stand_in_order() -> None:
    found = bill(RISE, BARE, GAP)
    months = [month for month, _, _ in found.months]
    assert months == ["2026-04", "2026-05", "2026-06"]
    assert sum(kwh for _, kwh, _ in found.months) == pytest.approx(found.energy_kwh)
    assert sum(cost or 0.0 for _, _, cost in found.months) == pytest.approx(found.energy_cost)


def test_everything_unknown_is_named_with_its_reason_and_stations() -> None:
    assert set(bill(RISE, BARE, GAP).missing) == {
        ("energy", "the station has no clean drop", ("Bare",)),
        ("discharge", "no emitter exponent", ("Bare", "Gap")),
        ("flushing water", "no flush flow", ("Bare", "Gap")),
    }


def test_the_commonest_reason_comes_first() -> None:
    reasons = bill(RISE, BARE, GAP, farm=replace(FARM, cycle_minutes=None)).missing
    assert [len(names) for _, _, names in reasons] == sorted(
        (len(names) for _, _, names in reasons), reverse=True
    )


def test_a_flush_that_is_not_counted_is_said() -> None:
    unsure = named("Unsure", log(work(1, "flush"), work(2, "flush", cycles=3.0)), flush_flow=6.0)
    why = ("flushing water", "1 flush without cycles or signs not counted")
    assert why in bill(unsure).stations[0].missing


def test_without_a_price_there_is_energy_and_no_money_anywhere() -> None:
    found = bill(RISE, GAP, farm=replace(FARM, price=None))
    assert found.energy_kwh is not None
    assert found.energy_cost is None
    assert {cost for _, _, cost in found.months} == {None}
    assert ("money", "no energy price on the Farm sheet", ("Rise", "Gap")) in found.missing
    assert found.trade_off.silent == "not on the Farm sheet: energy price"


def test_without_anything_nothing_is_guessed() -> None:
    found = bill(BARE, farm=Settings())
    assert (found.energy_kwh, found.energy_cost, found.flush_water) == (None, None, None)
    assert (found.labour_cost, found.months) == (None, ())


@given(st.lists(st.floats(0.5, 8.0), min_size=2, max_size=30), st.floats(0.5, 12.0))
@effort(max_examples=examples(60), deadline=None)
def test_months_add_up_and_hours_scale(drops: list[float], hours: float) -> None:
    history = named("Any", log(*(read(6 * n, drop) for n, drop in enumerate(drops))))
    once = bill(history, farm=replace(FARM, hours=hours))
    twice = bill(history, farm=replace(FARM, hours=2 * hours))
    assert sum(kwh for _, kwh, _ in once.months) == pytest.approx(once.energy_kwh)
    assert twice.energy_kwh == pytest.approx(2 * (once.energy_kwh or 0.0))
    assert twice.energy_cost == pytest.approx(2 * (once.energy_cost or 0.0))


def test_the_json_document_says_the_same() -> None:
    found = bill(RISE, BARE)
    told = json.loads(json.dumps(farm_costs_json(found, "coins")))
    assert told["energy_kwh"] == found.energy_kwh
    assert told["currency"] == "coins"
    assert [m["month"] for m in told["months"]] == [m for m, _, _ in found.months]
    assert {"what": "energy", "why": "the station has no clean drop", "stations": ["Bare"]} in (
        told["not_known"]
    )
    drops = {d["drop_m"]: d for d in told["trade_off"]["drops"]}
    assert list(drops) == [2.0, 3.0, 4.0, 5.0, 6.0, 7.0]
    assert drops[4.0]["total_cost"] == drops[4.0]["energy_cost"] + drops[4.0]["labour_cost"]
    assert told["trade_off"]["cheapest_drop_m"] in drops
    assert told["trade_off"]["silent"] is None
    loss = station_loss_json(found.stations[0])
    assert loss["field_loss_m"] == found.stations[0].cost.mean_excess_m
    assert loss["discharge_share_lost"] == found.stations[0].discharge.mean
    assert loss["flush_water_m3"] == 0.0
    bare = station_loss_json(found.stations[1])
    assert set(bare.values()) == {None}
