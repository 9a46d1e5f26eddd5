"""Where a request may go: one configured place, and addresses that no name server can turn into another network."""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from urllib.parse import urlsplit

from notify.core.errors import Misconfigured

Resolve = Callable[[str, int], Sequence[str]]
# RFC 6052 2.1: an IPv4 address dressed up as IPv6; what is inside counts.
_NAT64 = ipaddress.ip_network("64:ff9b::/96")
# RFC 1918, RFC 4193: addresses of a network of one's own.
_OWN = tuple(ipaddress.ip_network(one) for one in ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "fc00::/7"))
# IANA's registries of special-purpose addresses (RFC 6890) know these; Python 3.11 calls some of them global.
_SPECIAL = tuple(
    ipaddress.ip_network(one)
    for one in (
        "100.64.0.0/10", "192.0.0.0/24", "192.31.196.0/24", "192.52.193.0/24", "192.88.99.0/24", "192.175.48.0/24",
        "198.18.0.0/15", "64:ff9b:1::/48", "100::/64", "2001::/23", "2001:db8::/32", "2620:4f:8000::/48", "3fff::/20",
        "5f00::/16", "fec0::/10",
    )
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Target:
    """The only place that is called. Made by `target`; `path` holds the query too.

    `this_machine`: it may be nothing else. `inner`: it may stand in the shop's own network, or be this machine.
    """

    host: str
    port: int
    path: str
    tls: bool
    this_machine: bool
    inner: bool = False


def target(
    address: str, *, this_machine: bool = False, inner: bool = False, field: str = "sms.http.address"
) -> Target:  # fmt: skip
    """Reads the address. Raises Misconfigured for anything but https; http only with `this_machine` or `inner`."""
    try:
        parts = urlsplit(address)
        host, port = parts.hostname or "", parts.port
    except ValueError:
        host, port = "", None
    plain = bool(host) and parts.scheme == "http" and (this_machine or inner)
    odd = not address.isascii() or any(ord(sign) <= 32 or ord(sign) == 127 for sign in address)
    if not host or odd or "@" in parts.netloc or parts.fragment or (parts.scheme != "https" and not plain):
        raise Misconfigured(
            f"{field} is not an address that may be called",
            'Write one that begins with "https://", without a name or password in it.',
            field=field,
        )
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    tls = parts.scheme == "https"
    return Target(host, port or (443 if tls else 80), path, tls, this_machine, inner)


def listener_target(address: str, inner_hosts: Collection[str]) -> Target:
    """Reads the address of a listener. Raises Misconfigured for one that may not be called.

    A host that `inner_hosts` names, with its port or without, may stand in the shop's own network, and speak http
    there: a machine of one's own seldom has a certificate, and nothing about people is told to it.
    """
    try:
        parts = urlsplit(address)
        names = {parts.hostname or "", f"{parts.hostname}:{parts.port}"}
    except ValueError:
        names = set()
    return target(address, inner=not names.isdisjoint(inner_hosts), field="address")


def resolve(host: str, port: int) -> Sequence[str]:
    """The system's addresses of a name, in the order to try them. Raises OSError."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, proto=socket.IPPROTO_TCP)
    return list(dict.fromkeys(str(one[4][0]) for one in found))


def may_be_called(address: str, *, this_machine: bool = False, inner: bool = False) -> bool:
    """Whether an address is on the open network; with `this_machine`, whether it is this machine and nothing else.

    With `inner` it may also be this machine or an address of a network of one's own (RFC 1918, RFC 4193), but never a
    link-local one, where machines in a data centre find their secrets.
    """
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return False
    core = _inside(found)
    if this_machine:
        return core.is_loopback
    if inner and (core.is_loopback or any(core in one for one in _OWN if one.version == core.version)):
        return True
    special = any(core in one for one in _SPECIAL if one.version == core.version)
    return core.is_global and not (special or core.is_multicast or core.is_reserved)


def _inside(found: ipaddress.IPv4Address | ipaddress.IPv6Address) -> ipaddress.IPv4Address | ipaddress.IPv6Address:
    """The IPv4 address that an IPv6 one carries, if it does; else the address itself."""
    if isinstance(found, ipaddress.IPv4Address):
        return found
    if found in _NAT64:
        return ipaddress.IPv4Address(int(found) & 0xFFFFFFFF)
    teredo = found.teredo
    return found.ipv4_mapped or found.sixtofour or (teredo[1] if teredo else None) or found


def host_header(to: Target) -> str:
    """The Host header (RFC 9110 7.2); the port only where it is not the usual one."""
    name = f"[{to.host}]" if ":" in to.host else to.host
    return name if to.port == (443 if to.tls else 80) else f"{name}:{to.port}"
