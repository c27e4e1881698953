#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""A real HTTP(S) receiver of webhooks, for tests and demonstrations.

Prints its port, then answers until SIGTERM or --for SECONDS. Each request becomes one JSON line in --log: time,
method, path, what it answers ("behaviour"), headers, body, whether the body is JSON ("json"), and whether the signature is right ("signed": true,
false, or null where no --secret was given).

What it answers stands in the path, or in the JSON file --control, {"/path": "behaviour"}, read anew each time:

    /ok               204
    /status/422       that status, with a few words
    /busy/429/7       that status with Retry-After: 7
    /fail/2/500       the first two requests to this path get that status, the later ones 204
    /redirect         302 to /ok
    /drip             200, then a byte of the body each second, for ever
    /slow-head        200, then a byte of the header each second, for ever
    /flood            200, then as many bytes as the other side takes
    /reset            the connection is reset
    /hang             nothing, until the receiver ends
"""
import argparse
import base64
import collections
import hashlib
import hmac
import http.server
import json
import os
import signal
import socket
import ssl
import struct
import sys
import threading
import time

BODY_LIMIT = 1 << 20


def is_json(body):
    try:
        json.loads(body)
    except ValueError:
        return False
    return True


class Receiver(http.server.ThreadingHTTPServer):
    daemon_threads = True

    def __init__(self, settings):
        super().__init__((settings.address, settings.port), Handler)
        self.settings = settings
        self.ending = threading.Event()
        self.lock = threading.Lock()
        self.counts = collections.Counter()
        self.log = open(settings.log, "a", encoding="utf-8") if settings.log else None
        self.keys = [base64.b64decode(secret.removeprefix("whsec_")) for secret in settings.secret]
        self.tls = None
        if settings.tls:
            self.tls = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            self.tls.load_cert_chain(*settings.tls)

    def handle_error(self, request, client_address):
        """Connections that break are part of the tests."""

    def behaviour(self, path):
        if self.settings.control:
            try:
                with open(self.settings.control, encoding="utf-8") as file:
                    return json.load(file).get(path, path)
            except FileNotFoundError:
                pass
        return path

    def is_signed(self, headers, body):
        if not self.keys:
            return None
        signed = f"{headers.get('webhook-id')}.{headers.get('webhook-timestamp')}.".encode() + body
        digests = [hmac.digest(key, signed, hashlib.sha256) for key in self.keys]
        right = ["v1," + base64.b64encode(digest).decode() for digest in digests]
        given = headers.get("webhook-signature", "").split(" ")
        return any(hmac.compare_digest(a, b) for a in right for b in given)

    def count(self, path):
        with self.lock:
            self.counts[path] += 1
            return self.counts[path]

    def write_down(self, entry):
        if self.log:
            with self.lock:
                self.log.write(json.dumps(entry) + "\n")
                self.log.flush()


class Handler(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def setup(self):
        if self.server.tls:  # here, in the connection's own thread: a client that stalls holds up nobody
            self.request = self.server.tls.wrap_socket(self.request, server_side=True)
        super().setup()

    def do_POST(self):
        length = min(int(self.headers.get("Content-Length", 0)), BODY_LIMIT)
        body = self.rfile.read(length)
        behaviour = self.server.behaviour(self.path)
        self.server.write_down({
            "time": time.time(),
            "method": self.command,
            "path": self.path,
            "behaviour": behaviour,
            "headers": dict(self.headers.items()),
            "body": body.decode("utf-8", "replace"),
            "json": is_json(body),
            "signed": self.server.is_signed(self.headers, body),
        })
        self.behave(behaviour.strip("/").split("/"))

    do_GET = do_POST

    def behave(self, words):
        what, numbers = words[0], [int(word) for word in words[1:] if word.isdigit()]
        if what == "status":
            self.answer(numbers[0], body=b"this is what the receiver has to say")
        elif what == "busy":
            self.answer(numbers[0], {"Retry-After": str(numbers[1])})
        elif what == "fail":
            self.answer(numbers[1] if self.server.count(self.path) <= numbers[0] else 204)
        elif what == "redirect":
            self.answer(302, {"Location": "/ok"})
        elif what == "drip":
            self.send_response(200)
            self.send_header("Content-Length", "1000000")
            self.end_headers()
            self.trickle(b".")
        elif what == "slow-head":
            self.wfile.write(b"HTTP/1.1 200 OK\r\nX-Slow: ")
            self.trickle(b".")
        elif what == "flood":
            self.send_response(200)
            self.end_headers()
            while not self.server.ending.is_set():
                self.wfile.write(b"x" * 65536)
        elif what == "reset":
            self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            self.close_connection = True
            self.connection.close()
        elif what == "hang":
            self.server.ending.wait()
        else:
            self.answer(204)

    def answer(self, status, headers=None, body=b""):
        self.send_response(status)
        for name, value in (headers or {}).items():
            self.send_header(name, value)
        if status != 204:
            self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def trickle(self, byte):
        while not self.server.ending.wait(1):
            self.wfile.write(byte)
            self.wfile.flush()

    def log_message(self, format, *arguments):
        """Standard output belongs to the port."""


def main():
    as_written = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=as_written)
    parser.add_argument("--address", default="127.0.0.1")
    parser.add_argument("--port", type=int, default=0, help="0: any free one")
    parser.add_argument("--log", help="file for one JSON line a request")
    parser.add_argument("--secret", action="append", default=[], help="whsec_...; may be given twice")
    parser.add_argument("--tls", nargs=2, metavar=("CERT", "KEY"))
    parser.add_argument("--control", help="JSON file of behaviours by path")
    parser.add_argument("--for", dest="seconds", type=float, default=600, help="end after so many seconds")
    receiver = Receiver(parser.parse_args())
    # Taken by waiting, not by a handler: one that sets an event can run while this thread holds the event's own lock.
    endings = {signal.SIGTERM, signal.SIGINT}
    signal.pthread_sigmask(signal.SIG_BLOCK, endings)
    threading.Thread(target=receiver.serve_forever, daemon=True).start()
    print(receiver.server_address[1], flush=True)
    signal.sigtimedwait(endings, receiver.settings.seconds)
    receiver.ending.set()
    sys.stdout.flush()
    os._exit(0)  # threads may stand in a broken connection: the system closes it


if __name__ == "__main__":
    main()
