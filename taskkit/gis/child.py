"""The child process that opens or makes one GIS file: a private folder, one driver, no network, bounds of its own.

It is run as ``python -m taskkit.gis.child``, is asked on its standard input and answers on its standard output. Only
it and its two modules of work import pyogrio.
"""

from __future__ import annotations

import sys

from taskkit.gis.messages import Unusable, pack, unpack

__all__ = ["MEMORY_BYTES", "SECONDS"]

MEMORY_BYTES = 2 << 30
"""Address space of the child."""
SECONDS = 120
"""Processor time of the child, and the time that its parent waits for it."""


_NOT_NEEDED = ("geopandas", "pandas", "pyarrow", "pyproj", "shapely")
"""What pyogrio imports where it is there, for things that are not asked of it here: half of the time to start."""


def main() -> None:
    """Do what is asked for, and answer."""
    _bound()
    sys.modules.update(dict.fromkeys(_NOT_NEEDED))  # type: ignore[arg-type]  # None stands for "not to be imported"
    request = unpack(sys.stdin.buffer.read())
    if request is None:
        raise SystemExit("the question was cut")
    job, shapes = request
    if others := _others(job["driver"]):
        sys.stdout.buffer.write(pack({"others": others}, []))
        return
    from taskkit.gis.child_reading import read
    from taskkit.gis.child_writing import write

    try:
        answer, found = read(**job) if job.pop("do") == "read" else (write(**job, shapes=shapes), [])
    except Unusable as error:
        message, *remedy = error.args
        answer, found = {"error": message, "remedy": remedy[0] if remedy else None}, []
    sys.stdout.buffer.write(pack(answer, found))


def _bound() -> None:
    try:
        import resource
    except ImportError:
        # Windows has none; the parent's time limit remains.
        return
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS + 5))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _others(wanted: str) -> list[str]:
    """Drivers that are loaded beside the one that is wanted: a GDAL newer than our list has some."""
    import pyogrio

    return sorted(set(pyogrio.list_drivers()) - {wanted})


if __name__ == "__main__":
    main()
