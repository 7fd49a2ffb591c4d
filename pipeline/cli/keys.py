"""Keys and pedals of the terminal, one at a time, without Enter; a pedal is a key to the computer."""

import os
import select
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

Keys = Callable[[float], str]


@contextmanager
def raw_keys() -> Iterator[Keys]:
    """``keys(timeout_s)``: the keys pressed since, "" for none. Where there is no terminal, there never are any.

    The keys that stop a terminal or a program (Ctrl-S, Ctrl-Z) are switched off: they would stop the screen.
    """
    if not sys.stdin.isatty():
        yield _waiting
        return
    import termios

    handle = sys.stdin.fileno()
    before = termios.tcgetattr(handle)
    raw = termios.tcgetattr(handle)
    raw[0] &= ~termios.IXON
    raw[3] &= ~(termios.ICANON | termios.ECHO)
    raw[6][termios.VSUSP] = b"\x00"
    termios.tcsetattr(handle, termios.TCSADRAIN, raw)
    try:
        yield lambda timeout: _pressed(handle, timeout)
    finally:
        termios.tcsetattr(handle, termios.TCSADRAIN, before)


def _pressed(handle: int, timeout_s: float) -> str:
    ready, _, _ = select.select([handle], [], [], timeout_s)
    return os.read(handle, 64).decode(errors="replace") if ready else ""


def _waiting(timeout_s: float) -> str:
    select.select([], [], [], timeout_s)
    return ""


@contextmanager
def ended_by_signal() -> Iterator[Callable[[], bool]]:
    """Whether the program was asked to end (Ctrl-C, kill, the terminal was closed), so that it ends cleanly."""
    asked = False

    def end(_number: int, _frame: Any) -> None:
        nonlocal asked
        asked = True

    signals = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = [signal.signal(number, end) for number in signals]
    try:
        yield lambda: asked
    finally:
        for number, handler in zip(signals, before, strict=True):
            signal.signal(number, handler)
