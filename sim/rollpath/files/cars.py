"""Car files: what one may hold."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rollpath.car import DEFAULT_WINDOW, Alike, Axle, BiteRates, Car, Fuel, Springs, Tire
from rollpath.corners import CORNERS, Corners
from rollpath.files.reading import read_sort
from rollpath.files.schema import (
    Field,
    Group,
    Schema,
    choice,
    number,
    quantity,
    text_field,
)
from rollpath.files.slips import MOST_STAGGER, car_slips, slip_text, stagger_slip
from rollpath.screen import pounds, pounds_per_inch
from rollpath.typical import LOADED_SHARES, filled_in
from rollpath.units import INCH, PSI, QuantityError, parse_per_turn, per_inch

if TYPE_CHECKING:
    from rollpath.scales.learn import Learned

ROLLOUT = quantity(
    "tape", 20 * INCH, 160 * INCH, "a rollout between 20 and 160 in",
    worth="taped on the crown; right less left is the stagger itself",
)  # fmt: skip
_TRACK_WIDTH = quantity(
    "tape", 20 * INCH, 100 * INCH, "a track width between 20 and 100 in",
    worth="middle of one tread to middle of the other; the rear's is in proportion to the stagger",
)  # fmt: skip
WEIGHT = quantity(
    "weight", 10.0, 2e4, "a weight between 3 and 4500 lb",
    worth="what this pad reads, driver in; more on the right rear wants more stagger",
)  # fmt: skip
PRESSURE = quantity(
    "pressure", 2 * PSI, 80 * PSI, "a pressure between 2 and 80 psi",
    worth="cold; the harder tire of an axle flattens less and stands higher",
)  # fmt: skip
_ROLL_CENTER = quantity(
    "tape", -12 * INCH, 30 * INCH, "a height between -12 and 30 in",
    worth="of this end above the ground: how much of the load goes across at this axle",
)  # fmt: skip
_SPRING = quantity(
    "stiffness", 500.0, 5e6, "a spring rate between 3 and 28000 lb/in", required=True, many=2,
    worth="one value, or left and right; predicts bite where nothing was weighed",
)  # fmt: skip
_BAR = quantity(
    "roll stiffness", 0.0, 1e7, "a bar rate between 0 and 1500000 lb*in/deg", default=0.0,
    worth="moment for each degree that the axle rolls against the chassis",
)  # fmt: skip
_BITE_RATE = quantity(
    "weight", 0.1, 5e3, "a bite rate between 0.03 and 1100 lb", default="from the springs",
    worth="found on the scales, it beats any prediction",
)  # fmt: skip
_VOLUME = quantity("volume", 1e-4, 0.4, "a volume between 0.03 and 105 gal")
_ALIKE = choice(
    ["rear", "front", "axles", "all"], default="nothing asked",
    worth="where the rule book wants tires alike: at the rear, the front, within axles, all four",
)  # fmt: skip
LEAST_STAGGER = -MOST_STAGGER
_STAGGER = quantity(
    "tape", LEAST_STAGGER, MOST_STAGGER, "a stagger between -8 and 8 in", many=2,
    default=DEFAULT_WINDOW, worth="lowest and highest stagger that the class is happy in",
)  # fmt: skip
_AXLE_SCHEMA: Schema = {
    "track_width": _TRACK_WIDTH,
    "left": {"rollout": ROLLOUT},
    "right": {"rollout": ROLLOUT},
}
GEAR_RATIO = number(
    0.5, 30.0, "a total gear ratio between 0.5 and 30", default="not known",
    worth="turns of the engine for one of the axle; needed to read slip from engine speed",
)  # fmt: skip
CAR_SCHEMA: Schema = {
    "name": text_field(required=True, worth="what the car is called"),
    "wheelbase": quantity(
        "tape", 40 * INCH, 200 * INCH, "a wheelbase between 40 and 200 in",
        worth="axle to axle; of little weight for the stagger, of much for what is felt",
    ),
    "front": _AXLE_SCHEMA,
    "rear": _AXLE_SCHEMA,
    "weights": dict.fromkeys(CORNERS, WEIGHT),
    "cg_height": quantity(
        "tape", 4 * INCH, 40 * INCH, "a height between 4 and 40 in",
        worth="of the centre of gravity above the ground: how much load goes to the right",
    ),
    "roll_center": {"front": _ROLL_CENTER, "rear": _ROLL_CENTER},
    "power": quantity(
        "power", 1e3, 1.5e6, "a power between 1.4 and 2000 hp",
        worth="at the wheels: how far off the corner the car is still driving",
    ),
    "drag_area": quantity(
        "area", 0.05, 10.0, "an area between 0.54 and 107 ft2",
        worth="drag coefficient times frontal area; hardly moves the stagger",
    ),
    "stagger_window": _STAGGER,
    "steering_ratio": number(
        2.0, 40.0, "a steering ratio between 2 and 40",
        worth="turn of the steering wheel for a turn of the front wheels; reads a logged wheel",
    ),
    "gear_ratio": GEAR_RATIO,
    "tire": {
        "spring_rate": quantity(
            "stiffness", 1e4, 1e6, "a tire rate between 57 and 5710 lb/in",
            worth="how far a loaded tire flattens; softer tires want more stagger",
        ),
        "growth": quantity(
            "tape", -3 * INCH, 3 * INCH, "a growth between -3 and 3 in", default=0.0,
            worth="of the rear stagger from cold taping to hot; comes off the stagger to tape",
        ),
        "air_share": number(
            0.0, 1.0, "a share between 0 and 1",
            worth="of the spring rate that the air carries, and so grows with pressure",
        ),
        "construction": choice(
            list(LOADED_SHARES), default="bias",
            worth="a radial loses less of its rollout under load and wants less stagger",
        ),
    },
    "pressure": dict.fromkeys(CORNERS, PRESSURE),
    "bite_per_inch": {"rear": _BITE_RATE, "front": _BITE_RATE},
    "bite_per_turn": {"rear": _BITE_RATE, "front": _BITE_RATE},
    "springs": Group(
        {
            "front_wheel_rate": _SPRING,
            "rear_rate": _SPRING,
            "rear_base": quantity(
                "tape", 8 * INCH, 100 * INCH, "a base between 8 and 100 in", required=True,
                worth="between the rear springs, on the axle",
            ),
            "front_bar": _BAR,
            "rear_bar": _BAR,
        }
    ),
    "fuel": Group(
        {
            "capacity": replace(_VOLUME, required=True, worth="of the fuel cell, full"),
            "from_front_axle": quantity(
                "tape", -40 * INCH, 240 * INCH, "a length between -40 and 240 in", required=True,
                worth="middle of the fuel cell behind the front axle",
            ),
            "left_of_centre": quantity(
                "tape", -40 * INCH, 40 * INCH, "a length between -40 and 40 in", default=0.0,
                worth="middle of the fuel cell left of the middle of the car",
            ),
            "on_scales": replace(
                _VOLUME, default="half of it", worth="fuel in it when the pads were read"
            ),
        }
    ),
    "alike": {"compound": _ALIKE, "offset": _ALIKE},
    "jacks": {
        "thread": Field(
            parse_per_turn, False, 1, 1e-5, 0.05, "a thread such as 1 in per 12 turns",
            default="no jacks", worth="height for a turn; omit where the class allows no jacks",
        )
    },
}  # fmt: skip


def load_car(path: str | Path) -> Car:
    """Read a car file.

    Raises
    ------
    FileError
        With every fault of the file; `DoubtfulError` when values are only doubtful; see `slips`.
    """
    return car_from_values(load_car_values(path))


def load_car_values(path: str | Path) -> dict[str, Any]:
    """The values of a car file in SI, checked; see `load_car`."""
    reader, values = read_sort(path, "car", CAR_SCHEMA)
    window = values.get("stagger_window", DEFAULT_WINDOW)
    if window[0] >= window[1]:
        reader.fault_at("stagger_window", "expected the lower end first, such as [1 in, 4 in]")
    reader.raise_faults()
    reader.raise_slips(car_slips(car_from_values(values)))
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
    slip = stagger_slip(key, float(value)) if value is not None and key in staggers else None
    if slip is not None:
        raise QuantityError(f"--{key.replace('_', '-')}: {slip_text(slip)}")
    if value is not None and field.outside(float(value)):
        raise QuantityError(f"--{key.replace('_', '-')}: expected {field.range_text}")


def car_from_values(values: dict[str, Any]) -> Car:
    """A car from the values of its file, in SI; what is missing is typical."""
    filled, assumed = filled_in(values)
    bite_rates = {key: per_inch(rate) for key, rate in values.get("bite_per_inch", {}).items()}
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
        fuel=Fuel(**values["fuel"]) if "fuel" in values else None,
        alike=Alike(**values.get("alike", {})),
        steering_ratio=filled["steering_ratio"],
        gear_ratio=values.get("gear_ratio"),
        roll_center=(filled["roll_center"]["front"], filled["roll_center"]["rear"]),
        pressure=Corners(**filled["pressure"]),
        assumed=assumed,
    )


def _axle(values: dict[str, Any]) -> Axle:
    return Axle(values["track_width"], values["left"]["rollout"], values["right"]["rollout"])


LEARNED_KEYS = {
    "rear stagger": "bite_per_inch.rear", "front stagger": "bite_per_inch.front",
    "rear jacks": "bite_per_turn.rear", "front jacks": "bite_per_turn.front",
}  # fmt: skip


def rates_to_write(learned: "Learned") -> dict[str, str]:
    """Keys of a car file and their text, for the rates that are sure: pounds per inch of stagger,
    or per turn."""
    return {
        LEARNED_KEYS[name]: _rate_text(
            float((pounds if "jacks" in name else pounds_per_inch)(rate.value))
        )
        for name, rate in learned.rates.items()
        if rate.is_sure
    }


def _rate_text(value: float) -> str:
    return f"{value:.1f} lb" if value >= 1 else f"{value:.2g} lb"
