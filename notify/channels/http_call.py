"""One HTTP request to one configured address: checked, pinned, bounded, and never led anywhere else."""

from __future__ import annotations

import http.client
import ipaddress
import socket
import ssl
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.exceptions import HTTPError
from urllib3.response import BaseHTTPResponse

from notify.core.errors import Misconfigured

Resolve = Callable[[str, int], Sequence[str]]
# RFC 6052 2.1: an IPv4 address dressed up as IPv6; what is inside counts.
_NAT64 = ipaddress.ip_network("64:ff9b::/96")
# IANA's registries of special-purpose addresses (RFC 6890) know these; Python 3.11 calls some of them global.
_SPECIAL = tuple(
    ipaddress.ip_network(one)
    for one in (
        "100.64.0.0/10", "192.0.0.0/24", "192.31.196.0/24", "192.52.193.0/24", "192.88.99.0/24", "192.175.48.0/24",
        "198.18.0.0/15", "64:ff9b:1::/48", "100::/64", "2001::/23", "2001:db8::/32", "2620:4f:8000::/48", "3fff::/20",
        "5f00::/16", "fec0::/10",
    )
)  # fmt: skip

_NO_ANSWER = "The gateway gave no whole answer in time; it may have taken the message."
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
    """A whole answer: its status and its octets as they came."""

    status: int
    body: bytes


@dataclass(frozen=True, slots=True)
class Target:
    """The only place that is called. Made by `target`; `path` holds the query too."""

    host: str
    port: int
    path: str
    tls: bool
    this_machine: bool


def target(address: str, *, this_machine: bool) -> Target:
    """Reads the address. Raises Misconfigured for anything but https, or http on this machine where that is set."""
    try:
        parts = urlsplit(address)
        host, port = parts.hostname or "", parts.port
    except ValueError:
        host, port = "", None
    plain = bool(host) and parts.scheme == "http" and this_machine
    odd = not address.isascii() or any(ord(sign) <= 32 or ord(sign) == 127 for sign in address)
    if not host or odd or "@" in parts.netloc or parts.fragment or (parts.scheme != "https" and not plain):
        raise Misconfigured(
            "sms.http.address is not an address that may be called",
            'Write one that begins with "https://", without a name or password in it.',
            field="sms.http.address",
        )
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    tls = parts.scheme == "https"
    return Target(host, port or (443 if tls else 80), path, tls, this_machine)


def resolve(host: str, port: int) -> Sequence[str]:
    """The system's addresses of a name, in the order to try them. Raises OSError."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, proto=socket.IPPROTO_TCP)
    return list(dict.fromkeys(str(one[4][0]) for one in found))


def may_be_called(address: str, *, this_machine: bool) -> bool:
    """Whether an address is on the open network; with `this_machine`, whether it is this machine and nothing else."""
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return False
    inner = _inside(found)
    if this_machine:
        return inner.is_loopback
    special = any(inner in one for one in _SPECIAL if one.version == inner.version)
    return inner.is_global and not (special or inner.is_multicast or inner.is_reserved)


def _inside(found: ipaddress.IPv4Address | ipaddress.IPv6Address) -> ipaddress.IPv4Address | ipaddress.IPv6Address:
    """The IPv4 address that an IPv6 one carries, if it does; else the address itself."""
    if isinstance(found, ipaddress.IPv4Address):
        return found
    if found in _NAT64:
        return ipaddress.IPv4Address(int(found) & 0xFFFFFFFF)
    teredo = found.teredo
    return found.ipv4_mapped or found.sixtofour or (teredo[1] if teredo else None) or found


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
            raise NoAnswer("http-answer", _NO_ANSWER)
        return answer

    def _addresses(self) -> Sequence[str]:
        to = self.to
        try:
            found = self.resolve(to.host, to.port)
        except (OSError, UnicodeError):
            raise NotSent("http-name", "The gateway's name is not known to the name server.") from None
        if not found or not all(may_be_called(one, this_machine=to.this_machine) for one in found):
            raise NotSent("http-private", "The gateway's name leads to an address that may not be called.")
        return found

    def _connect(self, addresses: Sequence[str]) -> HTTPConnection:
        fault = NotSent("http-connect", "The gateway cannot be reached.")
        for address in addresses[:MOST_ADDRESSES]:
            line = self._line(address)
            try:
                line.connect()
                return line
            except ssl.SSLError as error:
                fault = _tls_fault(error)
            except (OSError, HTTPError) as error:
                fault = _tls_fault(error.args[-1]) if _is_tls(error) else fault
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
        ours = {"Host": _host_header(self.to), "Accept-Encoding": "identity", "User-Agent": "shelfbell",
                "Connection": "close"}  # fmt: skip
        try:
            line.request(method, self.to.path, body, {**headers, **ours}, preload_content=False, decode_content=False)
        except (OSError, HTTPError, http.client.HTTPException, ValueError):
            raise NotSent("http-send", "The line broke while the message was handed over.") from None
        try:
            answer = line.getresponse()
            read = self._whole_body(answer)
        except (OSError, HTTPError, http.client.HTTPException, ValueError, AttributeError):
            raise NoAnswer("http-answer", _NO_ANSWER) from None
        return Answer(answer.status, read)

    def _whole_body(self, answer: BaseHTTPResponse) -> bytes:
        """Read on until nothing comes any more: only then does the library say that something is missing."""
        read = b""
        while more := answer.read(self.most + 1 - len(read), decode_content=False):
            read += more
            if len(read) > self.most:
                raise NoAnswer("http-large", "The gateway's answer is too large to read; it may be taken.")
        return read


def _cut(sock: socket.socket | None, over: threading.Event) -> None:
    """Ends a call whose time is over, whatever it waits for: a server may drip its answer for ever."""
    over.set()
    if sock is not None:
        with suppress(OSError):
            # Not the TLS socket's own way, which another thread is using.
            socket.socket.shutdown(sock, socket.SHUT_RDWR)


def _is_tls(error: Exception) -> bool:
    return bool(error.args) and isinstance(error.args[-1], ssl.SSLError)


def _tls_fault(error: ssl.SSLError) -> NotSent:
    if isinstance(error, ssl.SSLCertVerificationError):
        return NotSent("http-certificate", "The gateway's certificate is not the one of its name, or not trusted.")
    return NotSent("http-tls", "The gateway speaks no TLS that may be used.")


def _host_header(to: Target) -> str:
    """RFC 9110 7.2; the port only where it is not the usual one."""
    name = f"[{to.host}]" if ":" in to.host else to.host
    return name if to.port == (443 if to.tls else 80) else f"{name}:{to.port}"
