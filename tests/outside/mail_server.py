#!/usr/bin/python3
"""A mail server for the tests: aiosmtpd on a free port of this machine, always encrypted. It prints its port, then
writes every mail that it takes as one JSON line to a file.

    mail_server.py starttls|tls CERTIFICATE KEY FILE [USER PASSWORD]
    mail_server.py plain FILE           offers no encryption at all

Receivers whose name begins with "full" are refused for now (452), with "nobody" for good (550).
"""
import asyncio
import json
import os
import ssl
import sys

from aiosmtpd.smtp import SMTP, AuthResult


class Mailbox:
    def __init__(self, file):
        self.file = file

    async def handle_RCPT(self, server, session, envelope, address, options):
        if address.startswith("full"):
            return "452 4.2.2 mailbox full"
        if address.startswith("nobody"):
            return "550 5.1.1 no such mailbox"
        envelope.rcpt_tos.append(address)
        return "250 2.1.5 ok"

    async def handle_DATA(self, server, session, envelope):
        told = {
            "from": envelope.mail_from,
            "to": envelope.rcpt_tos,
            "mail": envelope.content.decode("utf-8", "surrogateescape"),
            "hello": session.host_name,
            "encrypted": server.transport.get_extra_info("ssl_object") is not None,
            "user": session.auth_data,
        }
        line = (json.dumps(told) + "\n").encode()
        os.write(self.file, line)
        return "250 2.0.0 in the box"


def authenticator(user, password):
    def check(server, session, envelope, mechanism, data):
        given = data.login == user.encode() and data.password == password.encode()
        return AuthResult(success=given, handled=False, auth_data=user if given else None)
    return check


async def main(how, *rest):
    context = None
    if how != "plain":
        certificate, key, *rest = rest
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        context.load_cert_chain(certificate, key)
    path, *login = rest
    box = Mailbox(os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600))
    options = {"hostname": "mail.test", "enable_SMTPUTF8": False}
    if how == "starttls":
        options.update(tls_context=context, require_starttls=True)
    if login:
        options.update(auth_required=True, auth_require_tls=(how == "starttls"), authenticator=authenticator(*login))
    server = await asyncio.get_running_loop().create_server(
        lambda: SMTP(box, **options), "127.0.0.1", 0, ssl=context if how == "tls" else None)
    print(server.sockets[0].getsockname()[1], flush=True)
    await server.serve_forever()


asyncio.run(main(*sys.argv[1:]))
