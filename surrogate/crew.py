"""An executor of child processes in which one that dies or hangs costs nobody else anything.

Damaged and hostile files make decoders crash, run for ever or ask for all memory there is. Each call is therefore
carried out in a child process that holds only this one call. A child that ends or exceeds its time is replaced and
its call tried once more; then the call fails with :class:`~surrogate.errors.WorkerLost`, and the rest goes on.
"""

from __future__ import annotations

import atexit
import contextlib
import ctypes
import multiprocessing
import os
import pickle
import signal
import sys
import threading
import types
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from queue import Empty, SimpleQueue
from typing import Any, TypeVar

from surrogate import calm
from surrogate.errors import ScanSetAside, WorkerLost

T = TypeVar("T")

#: How often a call is tried: a child may have been killed for another's want of memory.
TRIES = 2

#: A child that has nothing to do ends at once when it is asked to; one that does not is not waited for.
_FAREWELL_S = 5.0

#: Loaded before a helper forks children; each imports all rooms that a scan passes through.
_PRELOADED = ["surrogate.pipeline", "surrogate.placing"]

_ADVICE = (
    "Open it in another program, save it as plain TIFF and take that in; if it cannot be opened there either, scan the "
    "original again."
)

#: SIGKILL, which Windows does not name.
_KILLED = 9

_starting = threading.Lock()


@dataclass(frozen=True)
class _Call:
    future: Future[Any]
    function: Callable[..., Any]
    arguments: tuple[Any, ...]


@dataclass(frozen=True)
class _Lost:
    """The child ended before it answered."""

    reason: str


class Crew(Executor):
    """``count`` child processes.

    ``limit_s`` tells from the arguments of a call how many seconds it may take. Calls begin in the order in which they
    were submitted.
    """

    def __init__(self, count: int, limit_s: Callable[[Sequence[object]], float]) -> None:
        self._limit_s = limit_s
        self._calls: SimpleQueue[_Call | None] = SimpleQueue()
        # before there are threads: see _way_to_start
        self._members = {place: _Member("fork") for place in range(count)} if _way_to_start() == "fork" else {}
        self._abandoned = False
        self._threads = [threading.Thread(target=self._serve, args=(place,), daemon=True) for place in range(count)]
        for thread in self._threads:
            thread.start()

    def submit(self, fn: Callable[..., T], /, *args: Any, **kwargs: Any) -> Future[T]:
        """Have a child call ``fn``, a function of a module, with arguments that can be pickled (none by keyword)."""
        if kwargs:
            raise TypeError("arguments by keyword are not taken")
        future: Future[T] = Future()
        self._calls.put(_Call(future, fn, args))
        return future

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:  # noqa: FBT001 (Executor's)
        """End the children once they have done what was submitted, or only what they have begun."""
        if cancel_futures:
            self._cancel_waiting()
        for _ in self._threads:
            self._calls.put(None)
        if wait:
            for thread in self._threads:
                thread.join()

    def abandon(self) -> None:
        """Kill the children in the middle of their work; what they did not finish fails."""
        self._abandoned = True
        self._cancel_waiting()
        for member in list(self._members.values()):
            member.kill()
        self.shutdown(cancel_futures=True)

    def _cancel_waiting(self) -> None:
        with contextlib.suppress(Empty):
            while True:
                call = self._calls.get_nowait()
                if call is not None:
                    call.future.cancel()

    def _serve(self, place: int) -> None:
        while (call := self._calls.get()) is not None:
            if call.future.set_running_or_notify_cancel():
                self._carry_out(place, call)
        member = self._members.pop(place, None)
        if member is not None:
            member.end()

    def _carry_out(self, place: int, call: _Call) -> None:
        reason = ""
        for _ in range(TRIES):
            try:
                member = self._members.get(place) or self._members.setdefault(place, _Member(_way_to_start()))
                if self._abandoned:  # asked only now: whoever abandons kills the members that he sees
                    break
                answer = member.carry_out(call, self._limit_s(call.arguments))
            except Exception as error:  # noqa: BLE001  (what was to be sent cannot be; whoever waits is told)
                call.future.set_exception(error)
                return
            if not isinstance(answer, _Lost):
                worked, result = answer
                (call.future.set_result if worked else call.future.set_exception)(result)
                return
            reason = answer.reason
            self._members.pop(place).kill()
        call.future.set_exception(WorkerLost(reason or "The work was stopped.", _ADVICE))


class _Member:
    """One child process."""

    def __init__(self, way: str) -> None:
        context = multiprocessing.get_context(way)
        context.set_forkserver_preload(_PRELOADED)
        self._ours, theirs = context.Pipe()
        self._process = context.Process(target=_live, args=(theirs,), daemon=True)  # type: ignore[attr-defined]
        with _starting, _no_main_module():
            self._process.start()
        theirs.close()

    def carry_out(self, call: _Call, limit_s: float) -> tuple[bool, Any] | _Lost:
        """(True, result) or (False, error) of the call."""
        try:
            self._ours.send((call.function, call.arguments))
            ready = wait([self._ours, self._process.sentinel], limit_s)
            if not ready:
                return _Lost(f"Reading it took more than the {limit_s:.0f} seconds that a file of this size may take.")
            answer: tuple[bool, Any] = self._ours.recv()
        except (EOFError, ConnectionError):
            return _Lost(self._how_it_ended())
        return answer

    def _how_it_ended(self) -> str:
        self._process.join(_FAREWELL_S)
        code = self._process.exitcode or 0
        if code == -_KILLED:
            return "Reading it was ended by the system, as happens when memory runs out."
        how = signal.Signals(-code).name if code < 0 else f"exit status {code}"
        return f"Reading it made the decoder crash ({how})."

    def end(self) -> None:
        """Let the child go; it has nothing to do."""
        with contextlib.suppress(OSError):
            self._ours.send(None)
        self._process.join(_FAREWELL_S)
        self.kill()

    def kill(self) -> None:
        """End the child at once."""
        self._process.kill()
        self._process.join(_FAREWELL_S)


def _way_to_start() -> str:
    """How children are started.

    A process without threads can be forked as it is: its loaded rooms are shared, and nothing is loaded twice, which
    takes more than a second. Else children are forked by a helper that has no threads; Windows knows no forking.
    """
    if sys.platform == "linux" and len(os.listdir("/proc/self/task")) == 1:  # noqa: PTH208  (not a path of the user's)
        return "fork"
    return "forkserver" if "forkserver" in multiprocessing.get_all_start_methods() else "spawn"


@contextlib.contextmanager
def _no_main_module() -> Iterator[None]:
    """Children load the program that was started, for the functions it may hold; ours come from the house's own
    modules, and a person's own script must not run again in each child.
    """
    main = sys.modules["__main__"]
    sys.modules["__main__"] = types.ModuleType("__main__")
    try:
        yield
    finally:
        sys.modules["__main__"] = main


def _live(calls: Connection) -> None:
    """The whole life of a child."""
    atexit._clear()  # what a forked child's parent has to do at its end  # noqa: SLF001
    threading.Thread(target=_end_with_parent, daemon=True).start()
    os.dup2(2, 1)  # what a library prints must not get into the answer on standard output
    for name in (signal.SIGINT, signal.SIGTERM):
        signal.signal(name, signal.SIG_IGN)  # whoever started the run decides what is finished
    calm.libraries()
    calm.limit_memory()
    with contextlib.suppress(EOFError, KeyboardInterrupt):
        while (call := calls.recv()) is not None:
            function, arguments = call
            calls.send(_answer(function, arguments))
    atexit._run_exitfuncs()  # a forked child ends without them, and ExifTool would be left behind  # noqa: SLF001


def _answer(function: Callable[..., Any], arguments: tuple[Any, ...]) -> tuple[bool, Any]:
    try:
        return True, function(*arguments)
    except Exception as error:  # noqa: BLE001  (whoever waits for the result is told)
        if isinstance(error, MemoryError) or "insufficient memory" in str(error).lower():  # numpy; OpenCV
            gigabytes = calm.MEMORY_LIMIT_BYTES / 1e9
            reason = f"Reading it takes more than the {gigabytes:.1f} GB of memory that a file may take."
            return False, ScanSetAside(reason, _ADVICE)
        return False, _fit_to_travel(error)


def _fit_to_travel(error: Exception) -> Exception:
    try:
        pickle.loads(pickle.dumps(error))  # noqa: S301  (our own bytes)
    except Exception:  # noqa: BLE001  (some libraries' errors cannot be made from what they hold)
        return RuntimeError(f"{type(error).__name__}: {error}")
    return error


def _end_with_parent() -> None:
    """End this process, whatever it is doing, when its parent ends, however that ends."""
    if sys.platform == "linux":  # at once; elsewhere, and for a child of the helper, as soon as this thread may run
        set_parent_death_signal = 1  # PR_SET_PDEATHSIG in linux/prctl.h
        ctypes.CDLL(None).prctl(set_parent_death_signal, signal.SIGKILL)
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)
