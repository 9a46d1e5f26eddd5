"""A mail server that takes everything and keeps nothing but a count: `python -m tests.bench.sink [SECONDS]`.

It speaks as much of RFC 5321 as smtplib needs, over raw sockets and one thread a connection, so that what is
measured is the sender; being another process, it shares no interpreter lock with either side. Each of its answers
comes after SECONDS, as from a server far away or busy.
"""

from __future__ import annotations

import json
import socket
import sys
import threading
import time

BANNER = b"220 sink.example.org ready\r\n"
ANSWERS = {
    b"EHLO": b"250-sink.example.org\r\n250-8BITMIME\r\n250-PIPELINING\r\n250 SIZE 10000000\r\n",
    b"HELO": b"250 sink.example.org\r\n",
    b"MAIL": b"250 2.1.0 ok\r\n",
    b"RCPT": b"250 2.1.5 ok\r\n",
    b"RSET": b"250 2.0.0 ok\r\n",
    b"NOOP": b"250 2.0.0 ok\r\n",
}
END = b"\r\n.\r\n"


class Count:
    """Messages and octets taken so far, over all connections."""

    def __init__(self) -> None:
        self.messages = 0
        self.octets = 0
        self._lock = threading.Lock()

    def add(self, octets: int) -> None:
        """One more message."""
        with self._lock:
            self.messages += 1
            self.octets += octets


def serve_one(line: socket.socket, count: Count, wait: float) -> None:
    """One conversation, to its end."""
    line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    held = b""

    def answer(words: bytes) -> None:
        if wait:
            time.sleep(wait)
        line.sendall(words)

    with line:
        answer(BANNER)
        while True:
            head, found, rest = held.partition(b"\r\n")
            if not found:
                more = line.recv(65536)
                if not more:
                    return
                held += more
                continue
            held = rest
            word = head[:4].upper()
            if word == b"QUIT":
                answer(b"221 2.0.0 bye\r\n")
                return
            if word != b"DATA":
                answer(ANSWERS.get(word, b"500 5.5.1 unknown\r\n"))
                continue
            answer(b"354 go on\r\n")
            while (at := held.find(END)) < 0:
                more = line.recv(65536)
                if not more:
                    return
                held += more
            count.add(at + 2)
            held = held[at + len(END) :]
            answer(b"250 2.0.0 taken\r\n")


def main(wait: float) -> None:
    """Prints the port, then answers every line on standard input with the counts, until that ends."""
    count = Count()
    with socket.create_server(("127.0.0.1", 0)) as door:
        print(door.getsockname()[1], flush=True)

        def welcome() -> None:
            while True:
                line, _ = door.accept()
                threading.Thread(target=serve_one, args=(line, count, wait), daemon=True).start()

        threading.Thread(target=welcome, daemon=True).start()
        for _ in sys.stdin:
            print(json.dumps({"messages": count.messages, "octets": count.octets}), flush=True)


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 0.0)
