"""Hostile requests as bytes, each with the status that it must be answered with.

0 stands for a connection that is closed without an answer.
"""

import gzip
import json
from collections.abc import Iterator
from typing import NamedTuple

SCREEN = b'{"observations": []}'
LIMIT = 256 * 1024
JSON_TYPE = b"Content-Type: application/json\r\n"


class Attack(NamedTuple):
    name: str
    sent: bytes
    status: int


def head(line: bytes, *more: bytes) -> bytes:
    return line + b"\r\nHost: x\r\n" + b"".join(one + b"\r\n" for one in more) + b"\r\n"


def post(body: bytes, *more: bytes, path: bytes = b"/v1/plan", kind: bytes | None = None) -> bytes:
    media = b"Content-Type: " + (kind if kind is not None else b"application/json")
    length = b"Content-Length: %d" % len(body)
    return head(b"POST " + path + b" HTTP/1.1", media, length, *more) + body


def field(name: str, value: object) -> bytes:
    return json.dumps({"observations": [], name: value}).encode()


def attacks() -> list[Attack]:
    return [
        Attack(*row)
        for part in (lines(), heads(), framing(), bodies(), values(), media(), bulk(), paths())
        for row in part
    ]


def lines() -> Iterator[tuple[str, bytes, int]]:
    yield "nothing but a newline, then silence", b"\r\n", 0
    yield "one byte, then silence", b"G", 408
    yield "half a request line", b"GET /livez", 408
    yield "half a head", b"GET /livez HTTP/1.1\r\nHost: x\r\n", 408
    yield "random bytes", bytes(range(256)), 400
    yield "zero bytes", b"\0" * 64, 400
    yield "TLS hello", b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\xaa" * 200, 400
    yield "HTTP/2 preface", b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n", 400
    yield "version 3.0", head(b"GET /livez HTTP/3.0"), 400
    yield "version 9.9", head(b"GET /livez HTTP/9.9"), 400
    yield "version without digits", head(b"GET /livez HTTP/x.y"), 400
    yield "no version", b"GET /livez\r\n\r\n", 400
    yield "lower-case protocol", head(b"GET /livez http/1.1"), 400
    yield "unknown method", head(b"HACK /livez HTTP/1.1"), 400
    yield "method in lower case", head(b"get /livez HTTP/1.1"), 400
    yield "method of 10 000 letters", head(b"A" * 10_000 + b" /livez HTTP/1.1"), 400
    yield "space before the method", head(b" GET /livez HTTP/1.1"), 400
    yield "two spaces in the line", head(b"GET  /livez HTTP/1.1"), 200
    yield "tab in the line", head(b"GET\t/livez\tHTTP/1.1"), 400
    yield "control byte in the path", head(b"GET /li\x01vez HTTP/1.1"), 400
    yield "zero byte in the path", head(b"GET /li\x00vez HTTP/1.1"), 400
    yield "byte above 127 in the path", head(b"GET /\xff\xfe HTTP/1.1"), 400
    yield "path of 8 193 bytes", head(b"GET /" + b"a" * 8192 + b" HTTP/1.1"), 414
    yield "path of 100 000 bytes", head(b"GET /" + b"a" * 100_000 + b" HTTP/1.1"), 414
    yield "query of 9 000 bytes", head(b"GET /livez?" + b"q" * 9000 + b" HTTP/1.1"), 414
    yield "connect", head(b"CONNECT x:443 HTTP/1.1"), 400
    yield "trace", head(b"TRACE /livez HTTP/1.1"), 405
    yield "delete", head(b"DELETE /v1/plan HTTP/1.1"), 405
    yield "put", head(b"PUT /v1/plan HTTP/1.1", b"Content-Length: 0"), 405
    yield "patch", head(b"PATCH /v1/about HTTP/1.1", b"Content-Length: 0"), 405
    yield "options of everything", head(b"OPTIONS * HTTP/1.1"), 404
    yield "absolute form", head(b"GET http://evil.example/livez HTTP/1.1"), 200
    yield "HTTP/0.9", b"GET /livez\n", 408


def heads() -> Iterator[tuple[str, bytes, int]]:
    get = b"GET /livez HTTP/1.1"
    yield "no host", get + b"\r\n\r\n", 400
    yield "two hosts", head(get, b"Host: y"), 400
    yield "host with a slash", get + b"\r\nHost: a/b\r\n\r\n", 400
    yield "101 headers", head(get, *(b"X-%d: 1" % n for n in range(101))), 431
    yield "10 000 headers", head(get, *(b"X-%d: 1" % n for n in range(10_000))), 431
    yield "header of 40 000 bytes", head(get, b"X: " + b"a" * 40_000), 431
    yield "header name of 40 000 bytes", head(get, b"a" * 40_000 + b": 1"), 431
    yield "cookie of 33 000 bytes", head(get, b"Cookie: " + b"a" * 33_000), 431
    yield "header without a colon", head(get, b"broken"), 400
    yield "header without a name", head(get, b": x"), 400
    yield "space before the colon", head(get, b"X : 1"), 400
    yield "folded header", head(get, b"X: 1", b"  2"), 400
    yield "header name with a control byte", head(get, b"X\x01: 1"), 400
    yield "header value with a zero byte", head(get, b"X: a\0b"), 400
    yield "bare carriage return in a value", head(get, b"X: a\rY: b"), 400
    yield "lines ended by line feed alone", b"GET /livez HTTP/1.1\nHost: x\n\n", 400
    yield "upgrade to websocket", head(get, b"Connection: Upgrade", b"Upgrade: websocket"), 200
    yield "upgrade to h2c", head(get, b"Connection: Upgrade", b"Upgrade: h2c"), 200
    yield "expect something else", head(get, b"Expect: 200-maybe"), 200
    yield "accept of 30 000 bytes", head(get, b"Accept: " + b"a/b," * 7000), 406
    yield "accept nothing", head(get, b"Accept: application/json;q=0"), 406
    yield "accept with a broken weight", head(get, b"Accept: application/json;q=x"), 406
    yield "traceparent of rubbish", head(get, b"traceparent: 00-zz-zz-zz"), 200
    yield "traceparent of 20 000 bytes", head(get, b"traceparent: " + b"0" * 20_000), 200
    yield "bytes above 127 in a header", head(get, b"X: \xff\xfe"), 200
    yield (
        "if-none-match of 30 000 tags",
        head(b"GET /v1/about HTTP/1.1", b"If-None-Match: " + b'"",' * 7000),
        200,
    )
    yield (
        "ten thousand ranges",
        head(b"GET /v1/about HTTP/1.1", b"Range: bytes=" + b"0-1," * 7000),
        200,
    )
    yield "origin of rubbish", head(get, b"Origin: \x80\x81"), 200
    yield (
        "preflight from anywhere",
        head(
            b"OPTIONS /v1/plan HTTP/1.1",
            b"Origin: https://evil.example",
            b"Access-Control-Request-Method: POST",
        ),
        204,
    )
    yield "key in the query", head(b"GET /v1/about?key=mw_x HTTP/1.1"), 400
    yield "bearer of 20 000 bytes", head(get, b"Authorization: Bearer " + b"a" * 20_000), 200
    yield "accept-encoding of rubbish", head(get, b"Accept-Encoding: gzip;q=;;,,\xff"), 200


def framing() -> Iterator[tuple[str, bytes, int]]:
    line = b"POST /v1/plan HTTP/1.1"
    chunked = b"Transfer-Encoding: chunked"
    kind = b"Content-Type: application/json"
    good = b"14\r\n" + SCREEN + b"\r\n0\r\n\r\n"
    yield "chunks", head(line, kind, chunked) + good, 200
    yield "length and chunks", head(line, kind, chunked, b"Content-Length: 5") + good, 400
    yield "chunks and length", head(line, kind, b"Content-Length: 5", chunked) + good, 400
    yield (
        "two lengths",
        head(line, kind, b"Content-Length: 20", b"Content-Length: 21") + SCREEN,
        400,
    )
    yield "length as a list", head(line, kind, b"Content-Length: 20, 20") + SCREEN, 400
    yield "length below zero", head(line, kind, b"Content-Length: -1") + SCREEN, 400
    yield "length with a plus", head(line, kind, b"Content-Length: +20") + SCREEN, 400
    yield "length in hex", head(line, kind, b"Content-Length: 0x14") + SCREEN, 400
    yield "length of letters", head(line, kind, b"Content-Length: many") + SCREEN, 400
    yield "length beyond 64 bits", head(line, kind, b"Content-Length: 99999999999999999999999"), 400
    yield "length of a terabyte", head(line, kind, b"Content-Length: 1099511627776"), 413
    yield "length one above the limit", head(line, kind, b"Content-Length: %d" % (LIMIT + 1)), 413
    yield "no length", head(line, kind), 400
    yield "length that is not kept", head(line, kind, b"Content-Length: 100") + SCREEN, 408
    yield "chunk of no number", head(line, kind, chunked) + b"zz\r\n", 400
    yield "chunk below zero", head(line, kind, chunked) + b"-1\r\n", 400
    yield "chunk beyond 64 bits", head(line, kind, chunked) + b"f" * 20 + b"\r\n", 400
    yield "chunk that never comes", head(line, kind, chunked) + b"14\r\n", 408
    yield "chunk longer than it says", head(line, kind, chunked) + b"2\r\n" + SCREEN + b"\r\n", 400
    yield (
        "chunks beyond the limit",
        head(line, kind, chunked) + (b"8000\r\n" + b" " * 0x8000 + b"\r\n") * 9,
        413,
    )
    yield (
        "chunk of a gigabyte begun",
        head(line, kind, chunked) + b"40000000\r\n" + b" " * 1000,
        408,
    )
    yield (
        "ten thousand chunks of one byte",
        head(line, kind, chunked) + b"1\r\n \r\n" * 10_000 + good,
        200,
    )
    yield "coding that is not chunked", head(line, kind, b"Transfer-Encoding: gzip") + SCREEN, 400
    yield "chunked twice", head(line, kind, b"Transfer-Encoding: chunked, chunked") + good, 400
    yield "chunked with a mark", head(line, kind, b"Transfer-Encoding: \x0bchunked") + good, 400
    yield "trailers", head(line, kind, chunked) + b"14\r\n" + SCREEN + b"\r\n0\r\nX: y\r\n\r\n", 200
    yield (
        "trailer of 50 000 bytes",
        head(line, kind, chunked) + b"0\r\nX: " + b"y" * 50_000 + b"\r\n\r\n",
        431,
    )
    yield "rubbish after a request", head(b"GET /livez HTTP/1.1") + b"\0\0\0\0", 200
    yield "a thousand requests at once", head(b"GET /livez HTTP/1.1") * 1000, 200
    yield "body on a read", head(b"GET /livez HTTP/1.1", b"Content-Length: 3") + b"abc", 200
    yield (
        "half a body on a read",
        head(b"GET /livez HTTP/1.1", b"Content-Length: 9999") + b"abc",
        200,
    )


def bodies() -> Iterator[tuple[str, bytes, int]]:
    yield "empty", post(b""), 400
    yield "white space", post(b" \n\t "), 400
    yield "half a body", post(b'{"observations": ['), 400
    yield "two values", post(SCREEN + SCREEN), 400
    yield "trailing comma", post(b'{"observations": [],}'), 400
    yield "comment", post(b'{"observations": [] /* x */}'), 400
    yield "single quotes", post(b"{'observations': []}"), 400
    yield "byte order mark", post(b"\xef\xbb\xbf" + SCREEN), 400
    yield "UTF-16", post(SCREEN.decode().encode("utf-16")), 400
    yield "broken UTF-8 in a value", post(b'{"observations": [], "target": "\xff\xfe"}'), 400
    yield "overlong UTF-8", post(b'{"observations": [], "target": "\xc0\xaf"}'), 400
    yield "surrogate in UTF-8", post(b'{"observations": [], "target": "\xed\xa0\x80"}'), 400
    yield "half a surrogate pair", post(b'{"observations": [], "target": "\\ud800"}'), 400
    yield "zero byte in a string", post(b'{"observations": [], "target": "\x00"}'), 400
    yield "100 000 arrays", post(b"[" * 100_000), 400
    yield "100 000 arrays, closed", post(b"[" * 100_000 + b"]" * 100_000), 400
    yield "20 000 objects", post(b'{"a":' * 20_000 + b"1" + b"}" * 20_000), 400
    yield (
        "deep in a known field",
        post(b'{"observations": ' + b"[" * 5000 + b"]" * 5000 + b"}"),
        400,
    )
    yield "deep in an unknown field", post(b'{"x": ' + b"[" * 50_000 + b"]" * 50_000 + b"}"), 400
    yield "NaN", post(b'{"observations": [], "minutes": NaN}'), 400
    yield "infinity", post(b'{"observations": [], "minutes": Infinity}'), 400
    yield (
        "number of 100 000 digits",
        post(b'{"observations": [], "minutes": ' + b"9" * 100_000 + b"}"),
        422,
    )
    yield "exponent of 9 digits", post(b'{"observations": [], "minutes": 1e999999999}'), 422
    deep = b'{"observations": [{"trials": [{"change": 9999999999999999999999e999}]}]}'
    yield "number out of range, deep", post(deep), 422
    yield "leading zero", post(b'{"observations": [], "minutes": 07}'), 400
    yield "hexadecimal", post(b'{"observations": [], "minutes": 0x7}'), 400
    yield (
        "twenty thousand equal keys",
        post(b"{" + b'"minutes": 5,' * 19_000 + b'"observations": []}'),
        200,
    )
    yield "body at the limit", post(SCREEN + b" " * (LIMIT - len(SCREEN))), 200
    yield "body one above the limit", post(SCREEN + b" " * (LIMIT - len(SCREEN) + 1)), 413
    yield "gzip bomb", post(gzip.compress(b" " * 10_000_000), b"Content-Encoding: gzip"), 415


def values() -> Iterator[tuple[str, bytes, int]]:
    yield "array in place of a screen", post(b"[]"), 422
    yield "null in place of a screen", post(b"null"), 422
    yield "text in place of a screen", post(b'"x"'), 422
    yield "unknown field", post(field("x", 1)), 422
    yield "prototype", post(field("__proto__", {"a": 1})), 422
    yield "number as text", post(field("minutes", "7")), 422
    yield "true as a number", post(field("minutes", True)), 422
    yield "minutes below zero", post(field("minutes", -1)), 422
    yield "minutes of 2 to the 63", post(field("minutes", 2**63)), 422
    yield "minutes beyond 64 bits", post(field("minutes", 2**70)), 422
    yield "minutes of 1.5", post(field("minutes", 1.5)), 422
    yield "kit of 10 000", post(field("kit", ["mat"] * 10_000)), 422
    yield "kit of 100 000 letters", post(field("kit", ["m" * 100_000])), 422
    yield "target with a newline", post(field("target", "squat\n")), 422
    yield "target as a path", post(field("target", "../../etc/passwd")), 422
    yield "a reference of markup", post(field("client", {"ref": "<script>"})), 200
    yield "a reference of 1 000 letters", post(field("client", {"ref": "r" * 1000})), 422
    yield "age of 10 000", post(field("client", {"age_years": 10_000})), 422
    yield "129 observations", post(json.dumps({"observations": [one()] * 129}).encode()), 422
    yield "128 observations", post(json.dumps({"observations": [one()] * 128}).encode()), 200
    yield "65 measurements", post(field("measurements", [{}] * 65)), 422


def one() -> dict[str, str]:
    return {
        "movement": "squat",
        "view": "front",
        "finding": "knee_in",
        "side": "left",
        "grade": "marked",
    }


def media() -> Iterator[tuple[str, bytes, int]]:
    bare = head(b"POST /v1/plan HTTP/1.1", b"Content-Length: 20") + SCREEN
    yield "no media type", bare, 415
    yield "form", post(b"a=b", kind=b"application/x-www-form-urlencoded"), 415
    yield "upload", post(b"--x--", kind=b"multipart/form-data; boundary=x"), 415
    yield "text", post(SCREEN, kind=b"text/plain"), 415
    yield "xml", post(b"<a/>", kind=b"application/xml"), 415
    yield "media type of rubbish", post(SCREEN, kind=b";;;/"), 415
    yield "other character set", post(SCREEN, kind=b"application/json; charset=utf-7"), 415
    yield "unknown coding", post(SCREEN, b"Content-Encoding: br"), 415
    yield "coding upon coding", post(SCREEN, b"Content-Encoding: gzip, gzip"), 415
    yield "answer as a picture", post(SCREEN, b"Accept: image/png"), 406


def bulk() -> Iterator[tuple[str, bytes, int]]:
    path, kind = b"/v1/bulk/plan", b"application/x-ndjson"
    yield "bulk of nothing", post(b"", path=path, kind=kind), 200
    yield "bulk of empty lines", post(b"\n" * 50_000, path=path, kind=kind), 200
    yield "bulk of rubbish", post(b"\xff\n{\n[]\n\0\n", path=path, kind=kind), 200
    yield "bulk line above the limit", post(b" " + b"x" * (LIMIT + 5), path=path, kind=kind), 200
    yield "bulk as text", post(SCREEN, path=path, kind=b"text/plain"), 415
    yield "bulk in gzip", post(SCREEN, b"Content-Encoding: gzip", path=path, kind=kind), 415
    yield "bulk array that is none", post(b"{}", path=path), 422
    yield "bulk array cut off", post(b"[{", path=path), 400
    yield "bulk array of depth", post(b"[" * 100_000, path=path), 400
    yield "bulk array above the limit", post(b"[" + b" " * LIMIT + b"]", path=path), 413
    yield "bulk array of nothing", post(b"", path=path), 400
    yield "bulk for a browser", post(SCREEN, b"Accept: text/html", path=path, kind=kind), 406
    yield "bulk read", head(b"GET /v1/bulk/plan HTTP/1.1"), 405


def paths() -> Iterator[tuple[str, bytes, int]]:
    for name, path, status in (
        ("dots", b"/../../etc/passwd", 404),
        ("dots in a kind", b"/v1/catalog/../../../etc/passwd", 404),
        ("encoded dots", b"/v1/examples/%2e%2e%2fx", 404),
        ("encoded zero byte", b"/v1/examples/%00", 404),
        ("encoded newline", b"/v1/examples/a%0d%0aX:y", 404),
        ("encoded rubbish", b"/v1/examples/%ff%fe", 404),
        ("broken percent", b"/v1/examples/%zz", 404),
        ("half a percent", b"/v1/examples/%", 404),
        ("template", b"/v1/examples/{{7*7}}", 404),
        ("a name of python", b"/v1/catalog/__class__", 404),
        ("a kind of python", b"/v1/catalog/drills/__init__", 404),
        ("a problem of rubbish", b"/problems/%3Cscript%3E", 404),
        ("8 000 letters", b"/v1/examples/" + b"a" * 8000, 404),
        # the router reads them as one: the way to the docs
        ("a thousand slashes", b"/" * 1000, 307),
        ("a query", b"/v1/about?x=1", 400),
        ("another case", b"/V1/About", 404),
        ("framework pages", b"/schema", 404),
        ("environment", b"/.env", 404),
    ):
        yield f"path: {name}", head(b"GET " + path + b" HTTP/1.1"), status
