"""Car files: what one may hold."""

from dataclasses import replace
from pathlib import Path
from typing import Any

from rollpath.car import DEFAULT_WINDOW, Alike, Axle, BiteRates, Car, Springs, Tire
from rollpath.corners import CORNERS, Corners
from rollpath.files.schema import (
    Field,
    Group,
    Reader,
    Schema,
    check_sort,
    choice,
    number,
    quantity,
    read_yaml,
    text_field,
)
from rollpath.typical import LOADED_SHARES, filled_in
from rollpath.units import INCH, PSI, QuantityError, parse_per_turn

ROLLOUT = quantity("tape", 20 * INCH, 160 * INCH, "a rollout between 20 and 160 in", required=True)
_TRACK_WIDTH = quantity("tape", 20 * INCH, 100 * INCH, "a track width between 20 and 100 in")
WEIGHT = quantity("weight", 10.0, 2e4, "a weight between 3 and 4500 lb", required=True)
_ROLL_CENTER = quantity("tape", -12 * INCH, 30 * INCH, "a height between -12 and 30 in")
PRESSURE = quantity("pressure", 2 * PSI, 80 * PSI, "a pressure between 2 and 80 psi")
_ROLLOUT, _WEIGHT = (replace(field, required=False) for field in (ROLLOUT, WEIGHT))
_SPRING = quantity("stiffness", 500.0, 5e6, "a spring rate between 3 and 28000 lb/in")
_BAR = quantity("roll stiffness", 0.0, 1e7, "a bar rate of 0 or more")
_BITE_RATE = quantity("weight", 0.1, 5e3, "a bite rate between 0.03 and 1100 lb")
_ALIKE = choice(["rear", "front", "axles", "all"])
LEAST_STAGGER, MOST_STAGGER = -12 * INCH, 24 * INCH
_STAGGER = quantity("tape", LEAST_STAGGER, MOST_STAGGER, "a stagger between -12 and 24 in", many=2)
_AXLE_SCHEMA: Schema = {
    "track_width": _TRACK_WIDTH,
    "left": {"rollout": _ROLLOUT},
    "right": {"rollout": _ROLLOUT},
}
CAR_SCHEMA: Schema = {
    "name": text_field(required=True),
    "wheelbase": quantity("tape", 40 * INCH, 200 * INCH, "a wheelbase between 40 and 200 in"),
    "front": _AXLE_SCHEMA,
    "rear": _AXLE_SCHEMA,
    "weights": dict.fromkeys(CORNERS, _WEIGHT),
    "cg_height": quantity("tape", 4 * INCH, 40 * INCH, "a height between 4 and 40 in"),
    "roll_center": {"front": _ROLL_CENTER, "rear": _ROLL_CENTER},
    "power": quantity("power", 1e3, 1.5e6, "a power between 1.5 and 2000 hp"),
    "drag_area": quantity("area", 0.05, 10.0, "an area between 0.5 and 107 ft2"),
    "stagger_window": _STAGGER,
    "steering_ratio": number(2.0, 40.0, "a steering ratio between 2 and 40"),
    "gear_ratio": number(0.5, 30.0, "a total gear ratio between 0.5 and 30"),
    "tire": {
        "spring_rate": quantity("stiffness", 1e4, 1e6, "a tire rate between 60 and 5700 lb/in"),
        "growth": quantity("tape", -3 * INCH, 3 * INCH, "a growth between -3 and 3 in"),
        "air_share": number(0.0, 1.0, "a share between 0 and 1"),
        "construction": choice(list(LOADED_SHARES)),
    },
    "pressure": dict.fromkeys(CORNERS, PRESSURE),
    "bite_per_inch": {"rear": _BITE_RATE, "front": _BITE_RATE},
    "bite_per_turn": {"rear": _BITE_RATE, "front": _BITE_RATE},
    "springs": Group(
        {
            "front_wheel_rate": replace(_SPRING, required=True, many=2),
            "rear_rate": replace(_SPRING, required=True, many=2),
            "rear_base": quantity(
                "tape", 8 * INCH, 100 * INCH, "a base between 8 and 100 in", required=True
            ),
            "front_bar": _BAR,
            "rear_bar": _BAR,
        }
    ),
    "alike": {"compound": _ALIKE, "offset": _ALIKE},
    "jacks": {
        "thread": Field(parse_per_turn, False, 1, 1e-5, 0.05, "a thread such as 1 in per 12 turns")
    },
}


def load_car(path: str | Path) -> Car:
    """Read a car file.

    Raises
    ------
    FileError
        With every fault of the file.
    """
    return car_from_values(load_car_values(path))


def load_car_values(path: str | Path) -> dict[str, Any]:
    """The values of a car file in SI, checked; see `load_car`."""
    reader = Reader(Path(path))
    node = read_yaml(reader.path)
    check_sort(reader.path, node, "car")
    values = reader.mapping(node, CAR_SCHEMA)
    window = values.get("stagger_window", DEFAULT_WINDOW)
    if window[0] >= window[1]:
        reader.fault_at("stagger_window", "expected the lower end first, such as [1 in, 4 in]")
    reader.raise_faults()
    return values


def check_change(key: str, value: float | None) -> None:
    """Hold what was typed for a change of the car to the ranges of a car file.

    Parameters
    ----------
    key : str
        ``left_rear`` and so on for a rollout, ``stagger``, ``rear_stagger``, ``front_stagger``,
        ``weights``.
    value : float or None

    Raises
    ------
    QuantityError
    """
    staggers = dict.fromkeys(("stagger", "rear_stagger", "front_stagger"), _STAGGER)
    wanted = {**staggers, "weights": WEIGHT}
    field = wanted.get(key, ROLLOUT)
    if value is not None and field.outside(float(value)):
        raise QuantityError(f"--{key.replace('_', '-')}: expected {field.range_text}")


def car_from_values(values: dict[str, Any]) -> Car:
    """A car from the values of its file, in SI; what is missing is typical."""
    filled, assumed = filled_in(values)
    bite_rates = {key: rate / INCH for key, rate in values.get("bite_per_inch", {}).items()}
    tire = dict(filled["tire"])
    construction = tire.pop("construction", None)
    if construction is not None:
        tire["loaded_share"] = LOADED_SHARES[construction]
        assumed -= {"tire.loaded_share"}
    return Car(
        name=values["name"],
        wheelbase=filled["wheelbase"],
        front=_axle(filled["front"]),
        rear=_axle(filled["rear"]),
        weights=Corners(**filled["weights"]),
        cg_height=filled["cg_height"],
        power=filled["power"],
        drag_area=filled["drag_area"],
        stagger_window=values.get("stagger_window", DEFAULT_WINDOW),
        tire=Tire(**tire),
        bite_per_inch=BiteRates(**bite_rates),
        bite_per_turn=BiteRates(**values.get("bite_per_turn", {})),
        springs=Springs(**values["springs"]) if "springs" in values else None,
        jack_thread=values.get("jacks", {}).get("thread"),
        alike=Alike(**values.get("alike", {})),
        steering_ratio=filled["steering_ratio"],
        gear_ratio=values.get("gear_ratio"),
        roll_center=(filled["roll_center"]["front"], filled["roll_center"]["rear"]),
        pressure=Corners(**filled["pressure"]),
        assumed=assumed,
    )


def _axle(values: dict[str, Any]) -> Axle:
    return Axle(values["track_width"], values["left"]["rollout"], values["right"]["rollout"])
