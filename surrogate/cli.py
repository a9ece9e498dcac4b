"""The commands. Each parses, calls one function, prints its typed result; everything heavy is imported late."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from surrogate import calm
from surrogate._version import __version__
from surrogate.errors import CatalogueLost, SurrogateError

if TYPE_CHECKING:
    from pydantic import BaseModel

    from surrogate.collection.changes import CompareReport
    from surrogate.processing import ProcessReport

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Turn scans of fading photographs and paper into a collection people can trust.",
)

Edges = Literal["hidden", "shown"]
Shape = Literal["rectangle", "oval", "round"]
LabelKind = Literal["labels", "boxes", "folders", "contact", "proof"]

Collection = Annotated[Path, typer.Argument(metavar="DIR", help="the collection's folder")]
#: Pairs told one by one on the terminal; the report names all.
PAIRS_TOLD = 12

Json = Annotated[bool, typer.Option("--json", help="print one JSON object and nothing else")]


def _say(line: str = "") -> None:
    print(line)


def _print_json(report: BaseModel) -> None:
    print(report.model_dump_json(indent=2, by_alias=True))


def _finish_process(report: ProcessReport, *, as_json: bool) -> None:
    if as_json:
        _print_json(report)
    else:
        new = len({entry.rsplit(" ", 1)[0] for entry in report.taken_in})
        _say(f"{report.collection}: {report.originals} originals, {new} new.")
        if report.already_there:
            _say(f"{report.already_there} scans were there already.")
        if report.updated:
            _say(f"{len(report.updated)} sides were brought up to date.")
        for pair in report.paired[:PAIRS_TOLD]:
            _say(f"Paired: {pair}")
        if len(report.paired) > PAIRS_TOLD:
            _say(f"Paired: {len(report.paired) - PAIRS_TOLD} more; the report names each and why.")
        for note in report.notes:
            _say(f"Note: {note}")
        for aside in report.set_aside:
            _say(f"Set aside: {aside.file}: {aside.reason} {aside.advice}")
        if report.left:
            _say(f"Stopped: {report.left} scans are left. Run the same command again to go on.")
        _say(f"Look at it: {Path(report.collection) / 'report.html'}")
    raise typer.Exit(report.exit_status)


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(metavar="[DIR]", help="where the collection goes")] = Path("demo"),
    workers: Annotated[int | None, typer.Option(help="processes to use; default: cores, as memory allows")] = None,
    as_json: Json = False,
) -> None:
    """The main job on the sample scans; the result as a web site and as a bag for an archive."""
    calm.environment()
    from surrogate.demonstrating import demo as run
    from surrogate.demonstrating import pass_on
    from surrogate.meter import Meter

    report = run(folder, workers=workers, progress=Meter())
    passed = pass_on(folder)
    if not as_json:
        _say(
            f"On the web: {passed.site.site / 'index.html'}, {passed.site.shown} shown, {passed.site.hidden} kept back."
        )
        _say(f"For an archive: {passed.bag.bags[0]}, {passed.bag.files} files, complete and checked.")
    _finish_process(report, as_json=as_json)


@app.command()
def process(
    scans: Annotated[list[Path], typer.Argument(metavar="SCANS...", help="files or folders with scans")],
    collection: Annotated[Path, typer.Option("--collection", metavar="DIR", help="the collection's folder")],
    captions: Annotated[Path | None, typer.Option(metavar="SHEET", help="caption sheet, CSV or XLSX")] = None,
    kind: Annotated[str | None, typer.Option(help="kind of all these originals, when you know it")] = None,
    workers: Annotated[int | None, typer.Option(help="processes to use; default: cores, as memory allows")] = None,
    cluster: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="scheduler of a Dask cluster whose workers to use")
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="say what would happen and change nothing")] = False,
    as_json: Json = False,
) -> None:
    """Take scans into a collection; make and refresh their copies."""
    if dry_run:
        from surrogate.rehearsing import rehearse

        rehearsal = rehearse(scans, collection, captions=captions, kind=kind)
        if as_json:
            _print_json(rehearsal)
        else:
            for line in rehearsal.lines():
                _say(line)
        raise typer.Exit(rehearsal.exit_status)
    from surrogate.meter import Meter

    calm.environment()
    from surrogate.processing import process as run

    report = run(scans, collection, captions=captions, kind=kind, workers=workers, cluster=cluster, progress=Meter())
    _finish_process(report, as_json=as_json)


@app.command()
def audit(
    folder: Collection,
    quick: Annotated[bool, typer.Option("--quick", help="presence and sizes only, no checksums")] = False,
    mirror: Annotated[
        Path | None, typer.Option(metavar="DIR2", help="a second place: compare it and bring there what it lacks")
    ] = None,
    repair: Annotated[
        bool, typer.Option("--repair", help="put damaged files right from the side that matches its checksum")
    ] = False,
    as_json: Json = False,
) -> None:
    """Check every file against its recorded checksum; keep a second place; repair one from the other."""
    from surrogate.auditing import audit as run

    report = run(folder, quick=quick, mirror=mirror, repair=repair)
    if as_json:
        _print_json(report)
    else:
        for line in report.lines():
            _say(line)
    raise typer.Exit(report.exit_status)


@app.command()
def rebuild(
    folder: Collection,
    references: Annotated[list[str] | None, typer.Argument(metavar="[REFERENCE...]")] = None,
    catalogue: Annotated[bool, typer.Option("--catalogue", help="write the catalogue again, from plain files")] = False,
    as_json: Json = False,
) -> None:
    """Make copies again from masters and recipes; report whether they are byte for byte the same."""
    if catalogue:
        from surrogate.reviving import revive

        revived = revive(folder)
        if as_json:
            _print_json(revived)
        else:
            for line in revived.lines():
                _say(line)
        return
    from surrogate.rebuilding import rebuild as run

    report = run(folder, references or [])
    if as_json:
        _print_json(report)
    else:
        for copy in report.copies:
            if not copy.identical:
                _say(f"{copy.file}: {copy.problem}")
        same = sum(copy.identical for copy in report.copies)
        _say(f"{len(report.copies)} copies made again, {same} byte for byte the same.")
    raise typer.Exit(report.exit_status)


@app.command()
def frame(
    folder: Collection,
    references: Annotated[
        list[str],
        typer.Argument(metavar="REFERENCE...", help="numbers; -p2 behind one is part 2 of its page"),
    ],
    size: Annotated[str, typer.Option("--frame", metavar="WxH", help="the frame: 8x10in, 20x25cm, a4, cabinet ...")],
    opening: Annotated[
        str | None, typer.Option(metavar="WxH", help="window of the mat; default: the picture's")
    ] = None,
    fill: Annotated[bool, typer.Option("--fill", help="fill the window, even if that crops the picture")] = False,
    paper: Annotated[str, typer.Option(help="paper of your printer")] = "a4",
    ppi: Annotated[float, typer.Option(help="largest resolution of the print")] = 300,
    as_found: Annotated[bool, typer.Option("--as-found", help="print it as it is now, without recovery")] = False,
    edges: Annotated[Edges, typer.Option(help="the original's edges under the mat, or inside the window")] = "hidden",
    bottom_weight: Annotated[float, typer.Option(help="how much more mat below than above, as a share")] = 0.0,
    shape: Annotated[Shape, typer.Option(help="shape of the window")] = "rectangle",
    as_json: Json = False,
) -> None:
    """Prints to frame: a TIFF and a PDF with the framing sheet."""
    from surrogate.collection.sets import expanded
    from surrogate.copies.frame_plan import Look
    from surrogate.copies.frame_report import summary
    from surrogate.printing import frame as run

    look = Look(edges=edges, bottom_weight=bottom_weight, shape=shape)
    asked = expanded(folder, references)
    report = run(
        folder, asked, frame=size, opening=opening, fill=fill, paper=paper, ppi=ppi, as_found=as_found, look=look
    )
    if as_json:
        _print_json(report)
        return
    for line in summary(report):
        _say(line)


@app.command()
def labels(
    folder: Collection,
    references: Annotated[list[str] | None, typer.Argument(metavar="[REFERENCE...]")] = None,
    sheet: Annotated[str, typer.Option(help="columns x rows of the label sheet")] = "3x8",
    paper: Annotated[str, typer.Option(help="paper of the label sheet")] = "a4",
    skip: Annotated[int, typer.Option(help="labels already used on the first sheet")] = 0,
    what: Annotated[LabelKind, typer.Option(help="what to print")] = "labels",
    box: Annotated[str | None, typer.Option(help="only what lies in this box")] = None,
) -> None:
    """Labels with QR code; or box lists, folder tabs, a contact sheet to write names on, proofs before printing."""
    from surrogate.copies.collection_reading import numbers_asked

    chosen = numbers_asked(folder, references or [], box)
    if what == "labels":
        from surrogate.copies.labels import labels as run

        _say(str(run(folder, chosen, sheet=sheet, paper=paper, skip=skip)))
    elif what == "boxes":
        from surrogate.copies.box_lists import box_lists

        _say(str(box_lists(folder, chosen, paper=paper)))
    elif what == "folders":
        from surrogate.copies.box_lists import folder_tabs

        _say(str(folder_tabs(folder, chosen, paper=paper)))
    elif what == "contact":
        from surrogate.copies.contact_sheet import contact_sheet

        _say(str(contact_sheet(folder, chosen, paper=paper)))
    else:
        from surrogate.copies.proof_sheet import proof_sheet
        from surrogate.running import guarded

        with guarded() as carry_out:
            _say(str(proof_sheet(folder, chosen, paper=paper, carry_out=carry_out)))


@app.command()
def compare(
    folder: Collection,
    reference: Annotated[str | None, typer.Argument(metavar="REFERENCE")] = None,
    scan: Annotated[Path | None, typer.Argument(metavar="SCAN", help="a new scan of the same original")] = None,
    session: Annotated[
        Path | None,
        typer.Option(metavar="SCANS", help="instead: new scans of six or more originals, named by their numbers"),
    ] = None,
    side: Annotated[str, typer.Option(help="recto or verso")] = "recto",
    target_then: Annotated[Path | None, typer.Option(metavar="SCAN", help="colour target beside the master")] = None,
    target_now: Annotated[Path | None, typer.Option(metavar="SCAN", help="colour target beside the new scan")] = None,
    record: Annotated[bool, typer.Option("--record", help="keep a dated condition record")] = False,
    as_json: Json = False,
) -> None:
    """Has the original changed since its master was made?"""
    from functools import partial

    from surrogate.errors import WrongUse
    from surrogate.running import guarded

    if (target_then is None) != (target_now is None):
        raise WrongUse("Give both --target-then and --target-now: the same target, scanned by either scanner.")
    targets = None if target_then is None or target_now is None else (target_then, target_now)
    day = datetime.now().astimezone().date() if record else None
    if session is not None:
        if reference is not None:
            raise WrongUse("Give either a REFERENCE with its SCAN, or --session with a folder of scans.")
        from surrogate.comparing import compare_session

        with guarded() as carry_out:
            together = compare_session(folder, session, targets=targets, record=day, carry_out=carry_out)
        if as_json:
            _print_json(together)
        else:
            for one in together.reports:
                _say_change(folder, one)
            for aside in together.set_aside:
                _say(f"Left out: {aside.file}: {aside.reason} {aside.advice}")
        raise typer.Exit(together.exit_status)
    if reference is None or scan is None:
        raise WrongUse("Give the number of the original and its new scan, or --session with a folder of scans.")
    from surrogate.condition.change import compare as run

    with guarded() as carry_out:
        report = carry_out(partial(run, side=side, targets=targets, record=day), folder, reference, scan)
    if as_json:
        _print_json(report)
    else:
        _say_change(folder, report)
    raise typer.Exit(0 if report.verdict == "unchanged" else 1)


def _say_change(folder: Path, report: CompareReport) -> None:
    _say(f"{report.reference} {report.side}: {report.verdict}. {report.note}".strip())
    if report.density_loss and report.uncertainty:
        dyes = zip(("cyan", "magenta", "yellow"), report.density_loss, report.uncertainty, strict=True)
        _say("Loss: " + ", ".join(f"{dye} {100 * loss:.1f} ± {100 * half:.1f} %" for dye, loss, half in dyes))
    if report.record:
        _say(f"Kept: {folder / report.record}")
    if report.picture:
        _say(f"Look at it: {folder / report.picture}")


@app.command()
def target(
    scan: Annotated[Path, typer.Argument(metavar="SCAN", help="a scan of the 24-patch target")],
    edition: Annotated[str, typer.Option(help="after-2014 or before-2014")] = "after-2014",
    reference: Annotated[Path | None, typer.Option(metavar="CSV", help="measured values of your own card")] = None,
    wedge: Annotated[
        bool, typer.Option("--wedge", help="it is a grey step wedge; values of your own: name, D")
    ] = False,
    icc: Annotated[Path | None, typer.Option("--profile", metavar="ICC", help="write a profile of the scanner")] = None,
    kept: Annotated[Path | None, typer.Option("--keep", metavar="DIR", help="keep the result; draw its drift")] = None,
    as_json: Json = False,
) -> None:
    """Is the scanner good enough?"""
    from functools import partial

    from surrogate.condition import target as room
    from surrogate.running import guarded

    measure = partial(room.wedge, reference=reference)
    if not wedge:
        measure = partial(room.target, edition=edition, reference=reference)
    now = datetime.now().astimezone()
    left: float | None = None
    with guarded() as carry_out:
        report = carry_out(measure, scan)
        drifted = [] if kept is None else room.keep(report, scan, kept, now.date())
        if icc is not None:
            from surrogate.collection.files import write_atomic

            content, left = carry_out(partial(room.profile, edition=edition, reference=reference), scan, now)
            write_atomic(icc, content)
    if as_json:
        _print_json(report)
        return
    for name, value in report.figures.items():
        _say(f"{name.replace('_', ' '):28} {value:.2f}")
    _say(f"FADGI 2016: {report.levels.fadgi_2016} of 4 stars; ISO 19264-1: {report.levels.iso_19264}")
    for line in [*report.advice, *drifted]:
        _say(line)
    if icc is not None and left is not None:
        _say(f"{icc}: with this profile the patches would be off by {left:.2f} on average (CIEDE2000).")
        _say(f"For scans without a profile: put it into the collection's folder; in collection.toml, under [profiles], "
             f'write "*" = "{icc.name}"')  # fmt: skip


@app.command()
def care(
    folder: Collection,
    lux: Annotated[float, typer.Option(help="light where originals hang")] = 150,
    hours: Annotated[float, typer.Option(help="hours of light a day")] = 8,
    start: Annotated[datetime | None, typer.Option(formats=["%Y-%m-%d"], help="first day of the calendar")] = None,
    wall: Annotated[int, typer.Option(help="places on a wall, for a plan of who hangs when")] = 0,
    wanted: Annotated[
        datetime | None, typer.Option(formats=["%Y-%m-%d"], help="day on which frozen originals are wanted")
    ] = None,
    as_json: Json = False,
) -> None:
    """Care sheet, enclosures, light, inspections and what has been shown."""
    from surrogate.care import Plan
    from surrogate.care import care as run

    plan = Plan(lux=lux, hours=hours, places=wall, wanted=None if wanted is None else wanted.date())
    report = run(folder, plan, start=None if start is None else start.date())
    if as_json:
        _print_json(report)
        return
    for warning in report.warnings:
        _say(warning)
    for file in report.files:
        _say(str(folder / file))
    _say(f"Next inspection: {report.next_inspection}")


@app.command()
def desk(
    folder: Collection,
    port: Annotated[int, typer.Option(help="port; default: any free one")] = 0,
) -> None:
    """The local page for captions and approval."""
    from surrogate.desk import desk as run

    run(folder, port)


@app.command()
def publish(
    folder: Collection,
    to: Annotated[Path, typer.Option(metavar="SITE", help="folder for the site")],
    base: Annotated[str | None, typer.Option(metavar="URL", help="address the site will have")] = None,
    chosen: Annotated[str | None, typer.Option("--set", metavar="NAME", help="only the originals of this set")] = None,
    sign_with: Annotated[
        tuple[Path, Path] | None,
        typer.Option(metavar="CERT KEY", help="sign every picture: certificate chain and private key, PEM files"),
    ] = None,
) -> None:
    """A static site with zoomable pictures, for any web space."""
    from surrogate.collection import sets
    from surrogate.handover.site.provenance import SigningKey
    from surrogate.handover.site.publish import publish as run

    only = None if chosen is None else sets.read(folder, chosen.removeprefix("@"))
    report = run(folder, to, base, signing_key=SigningKey(*sign_with) if sign_with else None, only=only)
    _say(f"{report.site}: {report.shown} originals shown, {report.hidden} kept in the house.")
    _say(f"{report.written} files written, {report.removed} removed.")


@app.command()
def handover(
    folder: Annotated[Path | None, typer.Argument(metavar="DIR", help="the collection's folder")] = None,
    to: Annotated[Path | None, typer.Option(metavar="BAG", help="folder for the bag")] = None,
    check: Annotated[
        Path | None, typer.Option(metavar="BAG", help="check a bag instead, or all bags of a split")
    ] = None,
    take_over: Annotated[
        list[Path] | None, typer.Option("--from-bag", metavar="BAG", help="make DIR a collection from this bag again")
    ] = None,
    split: Annotated[
        str | None, typer.Option(metavar="LIMIT", help="several bags: of 500 originals, or of 500GB, at most")
    ] = None,
    sha512: Annotated[bool, typer.Option("--sha512", help="SHA-512 beside SHA-256")] = False,
    link: Annotated[bool, typer.Option("--link", help="hard links instead of copies")] = False,
) -> None:
    """A bag for a larger archive; --check looks it over, --from-bag takes one over."""
    from surrogate.handover import archive

    if check is not None:
        findings = archive.check(check)
        for finding in findings:
            _say(f"{finding.path}: {finding.what}")
        _say(f"{check}: {len(findings)} findings.")
        raise typer.Exit(1 if findings else 0)
    if folder is None or (to is None and not take_over):
        from surrogate.errors import WrongUse

        raise WrongUse("Give the collection's folder and --to BAG, or --check BAG.")
    if take_over:
        from surrogate.handover.takeover import take_over as take

        taken = take(take_over, folder)
        _say(f"{taken.collection}: {taken.originals} originals, {taken.files} files taken over.")
        return
    if to is not None:
        from surrogate.handover.groups import limit_of

        report = archive.handover(folder, to, sha512=sha512, link=link, limit=limit_of(split) if split else None)
        for bag in report.bags:
            _say(f"{bag}: complete and checked.")
        _say(f"{report.originals} originals, {report.files} files, {report.bytes / 1e6:,.1f} MB.")


@app.command()
def version() -> None:
    """Say which version this is."""
    _say(f"surrogate {__version__}")


#: What Typer makes of Ctrl-C: 128 and the number of SIGINT, as shells do.
_INTERRUPTED = 130


def _command(arguments: list[str]) -> object:
    status = app(arguments, standalone_mode=False, prog_name="surrogate")
    if status == _INTERRUPTED:
        raise KeyboardInterrupt
    return status


def _run(arguments: list[str]) -> object:
    """Run a command; when it finds the catalogue lost, write that again from the collection's files and go on."""
    try:
        return _command(arguments)
    except CatalogueLost as lost:
        if "--dry-run" in arguments:  # nothing may be changed
            raise
        from surrogate.reviving import revive

        print(f"surrogate: the catalogue {lost.problem}.", file=sys.stderr)
        for line in revive(lost.folder).lines():
            print(f"surrogate: {line}", file=sys.stderr)
        return _command(arguments)


def main(argv: list[str] | None = None) -> int:
    """Run the command line; returns the exit status. Errors for people become one line on standard error."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    debug = "--debug" in arguments
    arguments = [argument for argument in arguments if argument != "--debug"]
    try:
        status = _run(arguments)
    except (typer.Abort, KeyboardInterrupt):
        print("surrogate: stopped. What is recorded is safe; run the same command again to go on.", file=sys.stderr)
        return 2
    except SurrogateError as problem:
        if debug:
            raise
        print(f"surrogate: {problem}", file=sys.stderr)
        return 2
    except OSError as problem:
        if debug:
            raise
        where = f"{problem.filename}: " if problem.filename else ""
        print(
            f"surrogate: {where}{problem.strerror or problem}. Put that right and run the same command again; what is "
            "already recorded is safe.",
            file=sys.stderr,
        )
        return 2
    except Exception as wrong:
        explain = getattr(wrong, "format_message", None)  # the mark of a usage error, whose class is not public
        if explain is None:
            raise
        print(f"surrogate: {explain()} Try `surrogate --help`.", file=sys.stderr)
        return 2
    return status if isinstance(status, int) else 0


if __name__ == "__main__":
    sys.exit(main())
