"""Every way we know of to spoil a signed call, each leaving it of the right shape as far as it can."""

from __future__ import annotations

import base64
import json
import random
from collections.abc import Iterator, Mapping

from standardwebhooks.webhooks import Webhook  # the other implementation signs, so that ours cannot agree with itself

Call = tuple[dict[str, str], bytes]
ID, TIME, SIGNATURE = "webhook-id", "webhook-timestamp", "webhook-signature"
OTHER = "whsec_" + base64.b64encode(b"another-key-of-the-right-length!").decode()


def signed(secret: str, body: bytes, *, at: int, call_id: str = "msg_1") -> Call:
    """A call as a sender with this secret makes it; `at` in seconds since 1970."""
    from datetime import UTC, datetime

    mark = Webhook(secret).sign(call_id, datetime.fromtimestamp(at, UTC), body.decode())
    return {ID: call_id, TIME: str(at), SIGNATURE: mark}, body


def spoilt(secret: str, body: bytes, *, at: int) -> Mapping[str, Call]:
    """Name of the fault -> the call. `body` is a JSON object with at least one text in it."""
    return dict(_all(secret, body, at))


def _all(secret: str, body: bytes, at: int) -> Iterator[tuple[str, Call]]:
    good, _ = signed(secret, body, at=at)
    mark = good[SIGNATURE].removeprefix("v1,")
    for name in good:
        yield f"no {name}", ({one: text for one, text in good.items() if one != name}, body)
        yield f"empty {name}", (good | {name: ""}, body)
        yield f"{name} doubled as a proxy joins it", (good | {name: f"{good[name]}, {good[name]}"}, body)
        yield f"{name} doubled without a space", (good | {name: f"{good[name]},{good[name]}"}, body)
        yield f"{name} begins with a space", (good | {name: f" {good[name]}"}, body)
        yield f"{name} ends with a tab", (good | {name: f"{good[name]}\t"}, body)
        yield f"{name} with a letter beyond ASCII", (good | {name: f"{good[name]}\xe4"}, body)
    yield "id of another call", (good | {ID: "msg_2"}, body)
    yield "id in capitals", (good | {ID: "MSG_1"}, body)
    yield "id and time swapped", (good | {ID: good[TIME], TIME: good[ID]}, body)
    yield "full stop moved into the id", (good | {ID: f"msg_1.{at}", TIME: ""}, body)
    yield "a second later", (good | {TIME: str(at + 1)}, body)
    yield "leading nought", (good | {TIME: f"0{at}"}, body)
    yield "with a sign", (good | {TIME: f"+{at}"}, body)
    yield "with a fraction", (good | {TIME: f"{at}.0"}, body)
    yield "as a power", (good | {TIME: f"{at / 1e9}e9"}, body)
    yield "fullwidth digits", (good | {TIME: str(at).translate({48 + n: 0xB2 for n in range(10)})}, body)
    yield "very long time", (good | {TIME: str(at) * 40}, body)
    yield "another version", (good | {SIGNATURE: f"v2,{mark}"}, body)
    yield "version in capitals", (good | {SIGNATURE: f"V1,{mark}"}, body)
    yield "no version", (good | {SIGNATURE: mark}, body)
    yield "equals sign for the comma", (good | {SIGNATURE: f"v1={mark}"}, body)
    yield "asymmetric by name", (good | {SIGNATURE: f"v1a,{mark}"}, body)
    yield "cut", (good | {SIGNATURE: f"v1,{mark[:-2]}"}, body)
    yield "longer", (good | {SIGNATURE: f"v1,{mark}AAAA"}, body)
    yield "first letter", (good | {SIGNATURE: f"v1,{'A' if mark[0] != 'A' else 'B'}{mark[1:]}"}, body)
    yield "the spare bits of base64", (good | {SIGNATURE: f"v1,{mark[:-2]}{_next(mark[-2])}="}, body)
    yield "without padding", (good | {SIGNATURE: f"v1,{mark.rstrip('=')}"}, body)
    yield "in hex", (good | {SIGNATURE: f"v1,{base64.b64decode(mark).hex()}"}, body)
    yield "the other alphabet", (good | {SIGNATURE: f"v1,-_{mark[2:]}"}, body)
    yield "many guesses", (good | {SIGNATURE: " ".join([f"v1,{mark[:-2]}A="] * 200)}, body)
    yield "another key", signed(OTHER, body, at=at)
    yield "the text of the key as key", (good | {SIGNATURE: _by(secret.encode(), good, body)}, body)
    yield "the empty key", (good | {SIGNATURE: _by(b"\0", good, body)}, body)
    yield "five minutes and a second ago", signed(secret, body, at=at - 301)
    yield "five minutes and a second ahead", signed(secret, body, at=at + 301)
    yield "in 1970", signed(secret, body, at=0)
    yield "a space after the body", (good, body + b" ")
    yield "a line's end after the body", (good, body + b"\n")
    yield "a mark of byte order", (good, b"\xef\xbb\xbf" + body)
    yield "no body", (good, b"")
    yield "body cut", (good, body[:-1])
    yield "body twice", (good, body + body)
    yield "one bit of the body", (good, bytes([body[0] ^ 1]) + body[1:])
    yield "the same JSON written anew", (good, json.dumps(json.loads(body), indent=1).encode())
    yield "the same JSON in UTF-16", (good, body.decode().encode("utf-16"))
    yield "escaped letters", (good, body.replace(b"o", b"\\u006f"))
    yield "names in another order", (good, json.dumps(dict(reversed(json.loads(body).items()))).encode() + b" ")
    yield "other header names", ({name.replace("webhook-", "x-"): text for name, text in good.items()}, body)
    yield "as a cookie", ({"Cookie": "; ".join(f"{name}={text}" for name, text in good.items())}, body)
    yield "as a bearer", ({"Authorization": f"Bearer {secret}"}, body)


def mutation(chance: random.Random, call: Call) -> Call:
    """One random change of one place of a call: a bit, a letter gone, or one more."""
    headers, body = dict(call[0]), call[1]
    where = chance.choice([*headers, "body"])
    text = body if where == "body" else headers[where].encode("latin-1")
    place, kind = chance.randrange(len(text)), chance.randrange(3)
    if kind == 0:
        text = text[:place] + bytes([text[place] ^ (1 << chance.randrange(8))]) + text[place + 1 :]
    elif kind == 1:
        text = text[:place] + text[place + 1 :]
    else:
        text = text[:place] + bytes([chance.randrange(256)]) + text[place:]
    return (headers, text) if where == "body" else (headers | {where: text.decode("latin-1")}, body)


def _next(letter: str) -> str:
    """The next letter of base64: of the last but one only two bits count, so the octets stay the same."""
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"
    return letters[letters.index(letter) ^ 1]


def _by(key: bytes, told: Mapping[str, str], body: bytes) -> str:
    import hashlib
    import hmac

    whole = hmac.new(key, f"{told[ID]}.{told[TIME]}.".encode() + body, hashlib.sha256).digest()
    return f"v1,{base64.b64encode(whole).decode()}"
