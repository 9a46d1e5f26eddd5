"""One HTTP request to one configured address: checked, pinned, bounded, and never led anywhere else."""

from __future__ import annotations

import http.client
import socket
import ssl
import threading
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.exceptions import HTTPError
from urllib3.response import BaseHTTPResponse

from notify.channels.http_target import Resolve, Target, host_header, may_be_called, resolve

_NO_ANSWER = "The {whom} gave no whole answer in time; it may have taken the message."
MOST_ADDRESSES = 4


class NotSent(Exception):
    """The request did not leave whole, so nobody acted on it; the arguments are a short code and words."""

    def __init__(self, code: str, text: str) -> None:
        super().__init__(code, text)
        self.code, self.text = code, text


class NoAnswer(Exception):
    """The request left, and what became of it is not known; the arguments are a short code and words."""

    def __init__(self, code: str, text: str) -> None:
        super().__init__(code, text)
        self.code, self.text = code, text


@dataclass(frozen=True, slots=True)
class Answer:
    """A whole answer: its status, its octets as they came, and when it asks to be tried again (RFC 9110 10.2.3)."""

    status: int
    body: bytes
    retry_after: str = ""


@dataclass(frozen=True, slots=True)
class Caller:
    """Calls one target. `patience` (seconds) is for the whole call, `most` octets are read of an answer.

    Every address that the name resolves to must be allowed, and the connection goes to a checked one while the
    certificate is checked against the name: a name server cannot lead it elsewhere in between. Proxies of the
    environment, redirects and compressed answers are not used. Each call has a connection of its own: on a kept one
    nobody could tell whether the other side hung up before or after it read the request.
    """

    to: Target
    patience: float
    most: int
    ca_file: Path | None = None
    resolve: Resolve = resolve
    whom: str = "gateway"  # as the shop calls what is called, for the words of faults

    def call(self, method: str, headers: Mapping[str, str], body: bytes) -> Answer:
        """One request and its whole answer. Raises NotSent and NoAnswer."""
        line = self._connect(self._addresses())
        over = threading.Event()
        timer = threading.Timer(self.patience, _cut, (line.sock, over))
        timer.daemon = True
        timer.start()
        try:
            answer = self._ask(line, method, headers, body)
        finally:
            timer.cancel()
            line.close()
        if over.is_set():  # what was cut may look whole where its end is the line's end (RFC 9112 6.3)
            raise NoAnswer("http-answer", self._said(_NO_ANSWER))
        return answer

    def _said(self, words: str) -> str:
        return words.replace("{whom}", self.whom)

    def _addresses(self) -> Sequence[str]:
        to = self.to
        try:
            found = self.resolve(to.host, to.port)
        except (OSError, UnicodeError):
            raise NotSent("http-name", self._said("The {whom}'s name is not known to the name server.")) from None
        if not found or not all(may_be_called(one, this_machine=to.this_machine, inner=to.inner) for one in found):
            raise NotSent("http-private", self._said("The {whom}'s name leads to an address that may not be called."))
        return found

    def _connect(self, addresses: Sequence[str]) -> HTTPConnection:
        fault = NotSent("http-connect", self._said("The {whom} cannot be reached."))
        for address in addresses[:MOST_ADDRESSES]:
            line = self._line(address)
            try:
                line.connect()
                return line
            except ssl.SSLError as error:
                fault = self._tls_fault(error)
            except (OSError, HTTPError) as error:
                fault = self._tls_fault(error.args[-1]) if _is_tls(error) else fault
            line.close()
        raise fault

    def _line(self, address: str) -> HTTPConnection:
        to = self.to
        if not to.tls:
            return HTTPConnection(address, to.port, timeout=self.patience)
        context = ssl.create_default_context(cafile=str(self.ca_file) if self.ca_file else None)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        return HTTPSConnection(
            address, to.port, timeout=self.patience, ssl_context=context, server_hostname=to.host,
        )  # fmt: skip

    def _ask(self, line: HTTPConnection, method: str, headers: Mapping[str, str], body: bytes) -> Answer:
        ours = {"Host": host_header(self.to), "Accept-Encoding": "identity", "User-Agent": "shelfbell",
                "Connection": "close"}  # fmt: skip
        try:
            line.request(method, self.to.path, body, {**headers, **ours}, preload_content=False, decode_content=False)
        except (OSError, HTTPError, http.client.HTTPException, ValueError):
            raise NotSent("http-send", "The line broke while the message was handed over.") from None
        try:
            answer = line.getresponse()
            read = self._whole_body(answer)
        except (OSError, HTTPError, http.client.HTTPException, ValueError, AttributeError):
            raise NoAnswer("http-answer", self._said(_NO_ANSWER)) from None
        return Answer(answer.status, read, str(answer.headers.get("Retry-After", ""))[:40])

    def _whole_body(self, answer: BaseHTTPResponse) -> bytes:
        """Read on until nothing comes any more: only then does the library say that something is missing."""
        read = b""
        while more := answer.read(self.most + 1 - len(read), decode_content=False):
            read += more
            if len(read) > self.most:
                raise NoAnswer("http-large", self._said("The {whom}'s answer is too large to read; it may be taken."))
        return read

    def _tls_fault(self, error: ssl.SSLError) -> NotSent:
        if isinstance(error, ssl.SSLCertVerificationError):
            words = "The {whom}'s certificate is not the one of its name, or not trusted."
            return NotSent("http-certificate", self._said(words))
        return NotSent("http-tls", self._said("The {whom} speaks no TLS that may be used."))


def _cut(sock: socket.socket | None, over: threading.Event) -> None:
    """Ends a call whose time is over, whatever it waits for: a server may drip its answer for ever."""
    over.set()
    if sock is not None:
        with suppress(OSError):
            # Not the TLS socket's own way, which another thread is using.
            socket.socket.shutdown(sock, socket.SHUT_RDWR)


def _is_tls(error: Exception) -> bool:
    return bool(error.args) and isinstance(error.args[-1], ssl.SSLError)
