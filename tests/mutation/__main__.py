"""Sample mutants, run each module's own tests against them, and print or write the table.

Run by hand (some five seconds a mutant)::

    python -m tests.mutation 300             # printed
    python -m tests.mutation 300 --write     # into README.md beside this
    python -m tests.mutation 20 findings/uses.py
    python -m tests.mutation 300 --again --write  # only those that lived, or were not yet tried

A mutant's module is put in the place of the real one by an import hook in a process of its own,
forked from one that has the large libraries loaded. A test that takes five times as long as
without the mutant, and half a minute more, never ends.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.abc
import importlib.util
import json
import os
import random
import signal
import sys
import time
from collections import defaultdict
from pathlib import Path

from tests.mutation.mutants import Mutant, mutant, sites
from tests.mutation.own_tests import ROOMS, ROOT, modules, own_tests

FATES = Path("/tmp") / f"scanqa-mutants-{os.getuid()}.json"  # of the last run
TABLE, WHY = Path(__file__).with_name("README.md"), Path(__file__).with_name("survivors.json")
SEED = 12
LEAST_KILLED = 85.0
LARGE = (
    "pytest", "hypothesis.strategies", "scipy.ndimage", "scipy.signal", "scipy.stats",
    "scipy.optimize", "scanqa.summary", "scanqa.catalogue.causes", "scanqa.codec",
)  # fmt: skip
LOADED = "ignore:Module already imported:pytest.PytestAssertRewriteWarning"
HEAD = """# Mutants that live and die

Made by `python -m tests.mutation N --write`; do not edit by hand. Why a survivor lives is written
in `survivors.json`.

"""


class InPlace(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Loads one module from another source."""

    def __init__(self, name: str, path: Path, source: str) -> None:
        self.name, self.path, self.source = name, path, source

    def find_spec(self, fullname, path=None, target=None):
        if fullname != self.name:
            return None
        inside = [str(self.path.parent)] if self.path.name == "__init__.py" else None
        spec = importlib.util.spec_from_loader(fullname, self, origin=str(self.path))
        spec.submodule_search_locations = inside
        return spec

    def exec_module(self, module):
        module.__file__ = str(self.path)
        exec(compile(self.source, str(self.path), "exec"), module.__dict__)


def outcome(mutant: Mutant, tests: tuple[str, ...], limit_s: float) -> str:
    """How a mutant fares: ``killed``, ``never ends`` or ``lives``."""
    child = os.fork()
    if child == 0:
        _run(mutant, tests)
    end = time.monotonic() + limit_s
    while time.monotonic() < end:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return "lives" if os.waitstatus_to_exitcode(status) == 0 else "killed"
        time.sleep(0.05)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return "never ends"


def _run(mutant: Mutant, tests: tuple[str, ...]) -> None:
    """In the child: put the mutant in place, run the tests, end with their status."""
    import pytest

    path = ROOT / "scanqa" / mutant.path
    name = "scanqa." + mutant.path.removesuffix(".py").replace("/", ".").removesuffix(".__init__")
    sys.meta_path.insert(0, InPlace(name, path, mutant.source))
    null = os.open(os.devnull, os.O_WRONLY)
    os.dup2(null, 1)
    os.dup2(null, 2)
    try:
        status = pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-W", LOADED, *tests])
    except BaseException:  # whatever the mutant did to pytest itself
        status = 1
    os._exit(int(status))


def whole(path: str) -> Mutant:
    """A module as it is, through the same door."""
    source = (ROOT / "scanqa" / path).read_text("utf-8")
    return Mutant(path, 0, "", "", source)


def sample(count: int, names: list[str]) -> list[Mutant]:
    """Mutants drawn evenly from all that there are."""
    sources = {name: whole(name).source for name in names}
    every = [(name, site) for name, source in sources.items() for site in sites(source)]
    drawn = random.Random(SEED).sample(every, min(count, len(every)))
    found = (mutant(name, sources[name], site) for name, site in drawn)
    return sorted(found, key=lambda m: (m.path, m.line, m.became))


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("count", type=int, help="how many mutants")
    parser.add_argument("names", nargs="*", help="modules (default: all that have short tests)")
    parser.add_argument("--again", action="store_true", help="keep what was killed before")
    parser.add_argument("--write", action="store_true", help="write README.md beside this")
    options = parser.parse_args()
    os.chdir(ROOT)
    _preload()

    before: dict[str, str] = json.loads(FATES.read_text("utf-8")) if options.again else {}
    usual: dict[str, float] = {}
    fates: dict[str, list[tuple[Mutant, str]]] = defaultdict(list)
    for one in sample(options.count, options.names or modules()):
        fate = before.get(one.key, "lives")
        if fate == "lives":
            fate = tried(one, usual)
            print(f"{one.path}:{one.line}: {one.was} -> {one.became}: {fate}", flush=True)
        fates[one.path].append((one, fate))
        before[one.key] = fate
        FATES.write_text(json.dumps(before, indent=0), "utf-8")
    text, held = report(fates)
    print(text)
    if options.write:
        TABLE.write_text(HEAD + text, "utf-8")
    return int(not held)


def tried(one: Mutant, usual: dict[str, float]) -> str:
    """The fate of a mutant; how long its tests usually take is found once for each module."""
    tests = own_tests(one.path)
    if one.path not in usual:
        started = time.monotonic()
        if outcome(whole(one.path), tests, 600) != "lives":
            sys.exit(f"{one.path}: its own tests fail without a mutant")
        usual[one.path] = time.monotonic() - started
    return outcome(one, tests, 5 * usual[one.path] + 30)


def _preload() -> None:
    """What all children need and no mutant touches, loaded once."""
    for name in LARGE:
        importlib.import_module(name)
    rooms = tuple(f"scanqa.{room}" for room in ROOMS)
    assert not [name for name in sys.modules if name.startswith(rooms)]


def report(fates: dict[str, list[tuple[Mutant, str]]]) -> tuple[str, bool]:
    """The table, and whether enough were killed."""
    known = json.loads(WHY.read_text("utf-8")) if WHY.exists() else {}
    every = [each for found in fates.values() for each in found]
    killed = sum(fate != "lives" for _, fate in every)
    share = 100 * killed / max(len(every), 1)
    lines = [f"{killed} of {len(every)} killed ({share:.0f} %; at least {LEAST_KILLED:.0f} %).", ""]
    lines += ["| module | mutants | killed |", "| --- | --- | --- |"]
    for path, found in sorted(fates.items()):
        lines.append(f"| `{path}` | {len(found)} | {sum(fate != 'lives' for _, fate in found)} |")
    lines += ["", "| survivor | was | became | why |", "| --- | --- | --- | --- |"]
    for one, fate in every:
        if fate == "lives":
            key = f"{one.path}: {one.was} -> {one.became}"
            cells = (f"`{one.path}:{one.line}`", f"`{_cell(one.was)}`",
                     f"`{_cell(one.became)}`", known.get(key, "not yet looked at"))  # fmt: skip
            lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines) + "\n", share >= LEAST_KILLED


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")[:90]


if __name__ == "__main__":
    sys.exit(main())
