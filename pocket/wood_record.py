"""The `[pocket.wood]` and `[part.wood]` tables of a job, as TOML gives them, to timber."""

from collections.abc import Mapping
from typing import Any, cast

from snugline.errors import InputError
from snugline.place import OfKey
from snugline.pocket.species import Species, own_shrinkage, own_species, species
from snugline.pocket.table import Table, text, whole, word
from snugline.pocket.wood import Climate, Cut, Direction, Timber, equilibrium_moisture

_LARGEST_COEFFICIENT = 1.0  # % for 1 %; above that of any wood
_LARGEST_SHRINKAGE = 25.0  # %


def timber(t: Table, service: Timber | None = None) -> Timber:
    """A piece of wood.

    Parameters
    ----------
    service : the board that a wooden part lives in: what the part's own table leaves out of
        driest and dampest is that board's.

    Raises
    ------
    InputError : a missing key, or a driest day that is damper than the dampest.
    """
    wood = _species(t)
    made = Timber(
        wood=wood,
        grain=cast(Direction, t.required("grain", lambda v, w: word(v, ("length", "width"), w))),
        cut=cast(Cut, t.word("cut", ("flat sawn", "quarter sawn")) or "flat sawn"),
        now=t.required("now", lambda v, w: whole(v, w, climate)),
        driest=_extreme(t, "driest", service.driest if service else None),
        dampest=_extreme(t, "dampest", service.dampest if service else None),
    )
    if made.driest.moisture > made.dampest.moisture:
        raise InputError(
            f"the driest day has {made.driest.moisture:.1f} % moisture, the dampest "
            f"{made.dampest.moisture:.1f} %",
            t.where,
            "swap driest and dampest",
        )
    return made


def part_timber(record: Mapping[str, Any], where: OfKey, board: Timber | None) -> Timber:
    """The part's own wood."""
    return cast(Timber, whole(record, where, lambda t: timber(t, board)))


def climate(t: Table) -> Climate:
    """Moisture of the wood, or the humidity of the room that it settles in."""
    celsius = t.number("celsius", -40, 60, 20.0)
    moisture = t.number("moisture", 0, 30)
    humidity = t.number("humidity", 0, 100)
    if (moisture is None) == (humidity is None):
        raise InputError(
            "needs either moisture or humidity",
            t.where,
            "write moisture = 8 (of the wood) or humidity = 45 (of the room), in per cent",
        )
    if moisture is None:
        moisture = equilibrium_moisture(humidity, celsius)
    return Climate(moisture, celsius)


def _extreme(t: Table, key: str, otherwise: Climate | None) -> Climate:
    found = t.get(key, lambda v, w: whole(v, w, climate), otherwise)
    if found is None:
        return cast(Climate, t.required(key, lambda v, w: whole(v, w, climate)))
    return cast(Climate, found)


def _species(t: Table) -> Species:
    """By name from the tables, or by the job's own figures."""
    name = t.get("species", text, "")
    moves = t.get("movement", lambda v, w: whole(v, w, _pair(_LARGEST_COEFFICIENT)), None)
    shrinks = t.get("shrinkage", lambda v, w: whole(v, w, _pair(_LARGEST_SHRINKAGE)), None)
    if moves is not None and shrinks is not None:
        raise InputError("both movement and shrinkage are given", t.where, "leave one of them out")
    if moves is not None:
        return own_species(moves, name)
    if shrinks is not None:
        return own_shrinkage(shrinks, name)
    return cast(Species, t.required("species", lambda v, w: species(text(v, w), w)))


def _pair(largest: float) -> Any:
    def read(t: Table) -> tuple[float, float]:
        radial = t.number("radial", 0, largest)
        tangential = t.number("tangential", 0, largest, radial)
        if radial is None:
            raise InputError(
                "the key 'radial' is missing", t.where, "give radial and tangential, in %"
            )
        return radial, tangential

    return read
