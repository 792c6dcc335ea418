"""Hostile senders, many at once, in a process of their own: ``python -m support.hostile_senders PORT COUNT``."""

from __future__ import annotations

import contextlib
import random
import socket
import sys
import threading
import time
from collections.abc import Callable

__all__ = ["SENDERS", "main"]

_ADDRESS = "127.0.0.1"
_HEAD = b"POST /capture HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
_PAUSE_S = 0.05


def _connected(port: int) -> socket.socket:
    return socket.create_connection((_ADDRESS, port), timeout=10)


def _silent(port: int) -> None:
    """Connects and says nothing."""
    with _connected(port) as connection:
        connection.recv(100)


def _slow_head(port: int) -> None:
    """One letter of a head now and then."""
    with _connected(port) as connection:
        for letter in _HEAD:
            connection.sendall(bytes([letter]))
            time.sleep(0.2)


def _slow_body(port: int) -> None:
    """A good head, then a body that hardly comes."""
    with _connected(port) as connection:
        connection.sendall(_HEAD + b"Content-Length: 1000000\r\n\r\n{")
        for _ in range(100):
            connection.sendall(b" ")
            time.sleep(0.2)


def _wrong_code(port: int) -> None:
    """Guesses."""
    with _connected(port) as connection:
        guess = f"Authorization: Bearer {random.getrandbits(32):08X}"
        connection.sendall(_HEAD + guess.encode() + b"\r\nContent-Length: 2\r\n\r\n{}")
        connection.recv(1000)


def _noise(port: int) -> None:
    """Bytes that are nothing."""
    with _connected(port) as connection:
        connection.sendall(random.randbytes(5000))
        connection.recv(1000)


def _huge(port: int) -> None:
    """Chunks without end."""
    with _connected(port) as connection:
        connection.sendall(_HEAD + b"Transfer-Encoding: chunked\r\n\r\n")
        for _ in range(2000):
            connection.sendall(b"10000\r\n" + b" " * 65_536 + b"\r\n")
            time.sleep(0.01)


SENDERS: tuple[Callable[[int], None], ...] = (_silent, _slow_head, _slow_body, _wrong_code, _noise, _huge)


def _always(sender: Callable[[int], None], port: int) -> None:
    while True:
        with contextlib.suppress(OSError):
            sender(port)
        time.sleep(_PAUSE_S)


def main(port: int, count: int) -> None:
    """``count`` senders at once, each coming again when it was refused, until the process is ended."""
    threading.stack_size(256 * 1024)
    for number in range(count):
        threading.Thread(target=_always, args=(SENDERS[number % len(SENDERS)], port), daemon=True).start()
    print("all are sending", flush=True)  # noqa: T201 - for who started it
    threading.Event().wait()


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
