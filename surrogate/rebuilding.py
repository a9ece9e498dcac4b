"""``rebuild``: make copies again from masters and recipes, and say whether they are byte for byte the same."""

from __future__ import annotations

import dataclasses
import shutil
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from pathlib import Path

from surrogate import checking, running, wording
from surrogate.collection import paths, profiles, settings
from surrogate.collection.catalogue import Catalogue, CopyRow, open_catalogue
from surrogate.collection.files import disk_errors, publish, sha256_of
from surrogate.collection.holding import held
from surrogate.collection.inventory import expected_of
from surrogate.collection.settings import Settings
from surrogate.copies import make
from surrogate.copies.describing import describe_copy
from surrogate.copies.print_pixels import write_print
from surrogate.description.embed import Description, embedder
from surrogate.errors import CollectionUnusable, MissingTool, WrongUse
from surrogate.records import Copy, Master, Record, Side, Use
from surrogate.recovery.recipe import Recipe


class Rebuilt(Record):
    """One copy made again."""

    file: str
    identical: bool
    problem: str = ""


class RebuildReport(Record):
    """What was made again."""

    collection: str
    copies: list[Rebuilt]

    @property
    def exit_status(self) -> int:
        """0 when every copy came out byte for byte as recorded."""
        return 0 if all(copy.identical for copy in self.copies) else 1


def rebuild(folder: Path, references: Sequence[str] = ()) -> RebuildReport:
    """Make the copies of these originals (of all, when none is named) again, in place.

    Masters are read in a child process, as scans are. A copy is replaced only by one that was made whole. Raises
    :class:`WrongUse` for an unknown reference number.
    """
    found = settings.read(folder)
    with (
        running.executor(1) as (executor, _),  # first: children inherit what is open
        held(folder, "rebuild"),
        open_catalogue(folder) as catalogue,
    ):
        known = [row.reference for row in catalogue.originals()]
        references = [catalogue.standing_for(reference) for reference in references]
        for reference in references:
            if reference not in known:
                raise WrongUse(f"There is no original {reference} in {folder}. captions.csv lists every number.")
        staging = folder / paths.INCOMING / "rebuild"
        with disk_errors(staging):
            staging.mkdir(parents=True, exist_ok=True)
        try:
            done = [
                rebuilt
                for reference in (references or known)
                for rebuilt in _original(folder, staging, catalogue, found, executor, reference)
            ]
        finally:
            shutil.rmtree(folder / paths.INCOMING, ignore_errors=True)
    return RebuildReport(collection=str(folder), copies=done)


def _original(
    folder: Path, staging: Path, catalogue: Catalogue, found: Settings, executor: Executor, reference: str
) -> list[Rebuilt]:
    masters = {master.side: master for master in catalogue.masters(reference)}
    by_recipe: dict[str, list[CopyRow]] = {}
    for row in catalogue.copies(reference):
        if row.copy.recipe is not None:
            by_recipe.setdefault(row.copy.recipe, []).append(row)
    done = _left_to_process(folder, catalogue, reference)
    damaged = {each.file for each in done}
    for recipe_file, rows in sorted(by_recipe.items()):
        if recipe_file in damaged:
            continue
        try:
            recipe = Recipe.model_validate_json((folder / recipe_file).read_bytes())
            made = executor.submit(_remake, folder, staging, recipe, _made_from(recipe, masters)).result()
            words = wording.description(catalogue, found, reference)
            done += [_replace(folder, recipe, made, row.copy, words, _made_from(recipe, masters)) for row in rows]
        except MissingTool:
            raise
        except Exception as problem:  # noqa: BLE001  (one damaged master or recipe never stops the rest)
            done += [Rebuilt(file=row.copy.file, identical=False, problem=str(problem)) for row in rows]
    return done


def _made_from(recipe: Recipe, masters: Mapping[Side, Master]) -> Master:
    """The master that a recipe names."""
    master = masters.get(Side(recipe.side))
    if master is None or master.sha256 != recipe.master_sha256:
        raise CollectionUnusable("its recipe names a master that is not that of its side; run `surrogate process`.")
    return master


def _left_to_process(folder: Path, catalogue: Catalogue, reference: str) -> list[Rebuilt]:
    """What is no copy and not as recorded (a recipe, a description, a condition record): ``process`` makes it anew.

    The copies are marked as to be made again, since a recipe is planned together with them.
    """
    rows = catalogue.copies(reference)
    copies = {row.copy.file for row in rows}
    of_prints = {row.copy.recipe for row in rows if row.copy.use is Use.PRINT}
    damaged = [
        (one.file, said)
        for one in expected_of(catalogue, reference)
        if not one.is_master and one.file not in copies and (said := checking.problem(folder, one)) is not None
    ]
    if any(file not in of_prints for file, _ in damaged):
        with catalogue.transaction():
            for row in rows:
                if row.copy.use is not Use.PRINT:
                    catalogue.put_copy(dataclasses.replace(row, made_as=""))
    makers = {True: "surrogate frame", False: "surrogate process"}
    problems = {file: f"{said}; run `{makers[file in of_prints]}` again to have it made anew" for file, said in damaged}
    return [Rebuilt(file=file, identical=False, problem=problem) for file, problem in problems.items()]


def _remake(folder: Path, staging: Path, recipe: Recipe, master: Master) -> dict[Use, Path]:
    """Make the copies of one recipe. Runs in a worker."""
    path = folder / master.file
    if sha256_of(path) != master.sha256:
        raise CollectionUnusable(f"The master {master.file} has changed; put it back from your other copy first.")
    given = profiles.kept(folder, recipe.given_profile)
    if recipe.use == Use.PRINT.value:
        made = {Use.PRINT: staging / "print.tif"}
        write_print(path, recipe, made[Use.PRINT], given, folder)
        return made
    pixels, ppi = make.from_recipe(recipe, path, given, make.playable(recipe.steps, folder))
    made = {}
    for use, image, its_ppi in make.outputs(pixels, recipe, ppi):
        made[use] = staging / f"{use}.jpg"
        make.write_jpeg(image, made[use], quality=recipe.quality or 88, ppi=its_ppi)
    return made


def _replace(
    folder: Path,
    recipe: Recipe,
    made: dict[Use, Path],
    copy: Copy,
    words: Description,
    master: Master,
) -> Rebuilt:
    temporary = made[copy.use]
    description = describe_copy(words, master, recipe, copy.use)
    embedder().write(temporary, description)
    identical = sha256_of(temporary) == copy.sha256
    if identical:
        publish(temporary, folder / copy.file)
        return Rebuilt(file=copy.file, identical=True)
    problem = "came out different from the copy on record, which was left as it is; its words or its master changed"
    return Rebuilt(file=copy.file, identical=False, problem=problem)
