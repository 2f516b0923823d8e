"""What a tire rolls at the pressure it is raced at."""

from rollpath.tires.rack import Rack, RackTire


def pressure_correction(rack: Rack, tire: RackTire, corner: str) -> float:
    """How much the cold rollout grows from the pressure it was taped at to the running one, m."""
    taping = tire.cold
    if rack.running_pressure is None or taping is None or taping.pressure is None:
        return 0.0
    apart = float(getattr(rack.running_pressure, corner)) - taping.pressure
    growth = tire.own_growth
    return (rack.growth if growth is None else growth) * apart


def cold_rollout(rack: Rack, tire: RackTire, corner: str) -> float:
    """Rollout of a tire, cold, at the running pressure of a corner, m; nan with no cold taping."""
    taping = tire.cold
    if taping is None:
        return float("nan")
    return taping.mean + pressure_correction(rack, tire, corner)
