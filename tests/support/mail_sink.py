#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""A real SMTP server that keeps what it is given, for tests and demonstrations. Needs python3-aiosmtpd.

Prints its port, then serves until SIGTERM or --for SECONDS. Each accepted message becomes NNNN.eml in --folder;
each envelope command becomes one JSON line in --log: {"command", "address", "tls", "user"}.
"""
import argparse
import asyncio
import json
import logging
import os
import pathlib
import signal
import ssl
import warnings

from aiosmtpd.smtp import SMTP, AuthResult


class Sink:
    def __init__(self, settings):
        self.settings = settings
        self.folder = pathlib.Path(settings.folder) if settings.folder else None
        self.log = open(settings.log, "a", encoding="utf-8") if settings.log else None
        self.deferred = 0
        self.count = 0

    def write_down(self, command, session, address=""):
        if self.log:
            login = session.auth_data.login.decode() if session.auth_data else None
            entry = {"command": command, "address": address, "tls": session.ssl is not None, "user": login}
            self.log.write(json.dumps(entry) + "\n")
            self.log.flush()

    async def handle_EHLO(self, server, session, envelope, name, responses):
        session.host_name = name
        self.write_down("EHLO", session, name)
        return responses

    async def handle_MAIL(self, server, session, envelope, address, options):
        self.write_down("MAIL", session, address)
        if address in self.settings.refuse_sender:
            return "553 5.7.1 sender not known here"
        envelope.mail_from = address
        return "250 2.1.0 sender fine"

    async def handle_RCPT(self, server, session, envelope, address, options):
        self.write_down("RCPT", session, address)
        if address in self.settings.refuse:
            return "550 5.1.1 no such mailbox"
        if self.deferred < self.settings.greylist:
            self.deferred += 1
            return "451 4.7.1 greylisted, come back later"
        envelope.rcpt_tos.append(address)
        return "250 2.1.5 recipient fine"

    async def handle_DATA(self, server, session, envelope):
        self.write_down("DATA", session)
        if self.settings.hang == "data":
            await asyncio.sleep(self.settings.seconds)
        if self.settings.refuse_message:
            return "554 5.7.1 message not wanted"
        self.count += 1
        if self.folder:
            name = self.folder / f"{self.count:04}.eml"
            temporary = name.with_suffix(".part")
            temporary.write_bytes(envelope.content)
            temporary.rename(name)
        return "250 2.0.0 queued as %d" % self.count

    async def handle_QUIT(self, server, session, envelope):
        self.write_down("QUIT", session)
        if self.settings.hang == "quit":
            await asyncio.sleep(self.settings.seconds)
        return "221 2.0.0 goodbye"

    def authenticate(self, server, session, envelope, mechanism, data):
        name, _, password = self.settings.auth.partition(":")
        is_right = data.login.decode() == name and data.password.decode() == password
        return AuthResult(success=is_right, handled=False, auth_data=data)


class Server(SMTP):
    """Under implicit TLS the library does not see the encryption, and would offer no login."""

    def connection_made(self, transport):
        super().connection_made(transport)
        if transport.get_extra_info("sslcontext"):
            self._tls_protocol = self
            self.session.ssl = transport.get_extra_info("ssl_object")


def tls_of(settings):
    if settings.security == "plain":
        return None
    tls = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    tls.load_cert_chain(*settings.tls)
    return tls


async def serve(settings):
    logging.disable()  # broken connections and refused certificates are part of the tests
    warnings.simplefilter("ignore")
    sink, tls, ending = Sink(settings), tls_of(settings), asyncio.Event()

    def protocol():
        return Server(
            sink,
            hostname="sink.example.org",
            tls_context=tls if settings.security == "starttls" else None,
            require_starttls=settings.security == "starttls",
            authenticator=sink.authenticate if settings.auth else None,
            auth_required=bool(settings.auth),
            auth_require_tls=True,
            enable_SMTPUTF8=False,
        )

    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, ending.set)
    implicit = tls if settings.security == "tls" else None
    server = await loop.create_server(protocol, settings.address, settings.port, ssl=implicit)
    print(server.sockets[0].getsockname()[1], flush=True)
    try:
        await asyncio.wait_for(ending.wait(), settings.seconds)
    except asyncio.TimeoutError:
        pass
    os._exit(0)  # connections may hang on purpose: the system closes them


def main():
    as_written = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=as_written)
    parser.add_argument("--address", default="127.0.0.1")
    parser.add_argument("--port", type=int, default=0, help="0: any free one")
    parser.add_argument("--security", choices=("plain", "starttls", "tls"), default="plain")
    parser.add_argument("--tls", nargs=2, metavar=("CERT", "KEY"))
    parser.add_argument("--auth", metavar="USER:PASSWORD", help="ask for this login")
    parser.add_argument("--folder", help="where messages are kept")
    parser.add_argument("--log", help="file for one JSON line a command")
    parser.add_argument("--greylist", type=int, default=0, metavar="N", help="451 to the first N recipients")
    parser.add_argument("--refuse", action="append", default=[], metavar="ADDRESS", help="550 to this recipient")
    parser.add_argument("--refuse-sender", action="append", default=[], metavar="ADDRESS", help="553 to this sender")
    parser.add_argument("--refuse-message", action="store_true", help="554 after the message")
    parser.add_argument("--hang", choices=("data", "quit"), help="never answer there")
    parser.add_argument("--for", dest="seconds", type=float, default=600, help="end after so many seconds")
    asyncio.run(serve(parser.parse_args()))


if __name__ == "__main__":
    main()
