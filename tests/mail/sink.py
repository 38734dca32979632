"""An SMTP server by another hand (aiosmtpd) that keeps every letter as a file: sink.py PORT FOLDER CERTIFICATE KEY USER PASSWORD

It takes letters only over TLS (STARTTLS, RFC 3207) and only from whoever signs in (RFC 4954), as mail providers do.
"""

import asyncio
import pathlib
import ssl
import sys

from aiosmtpd.handlers import Message
from aiosmtpd.smtp import SMTP, AuthResult, LoginPassword

port, folder, certificate, key, user, password = sys.argv[1:]
letters = pathlib.Path(folder)


class Keeper(Message):
    """Keeps the bytes, with who was named to the server as recipient."""

    def handle_message(self, message):
        unfinished = letters / f"{len(list(letters.iterdir())):04}.part"
        unfinished.write_bytes(message.as_bytes())
        unfinished.rename(unfinished.with_suffix(".eml"))


def authenticate(server, session, envelope, mechanism, data):
    right = isinstance(data, LoginPassword) and data.login == user.encode() and data.password == password.encode()
    return AuthResult(success=right)


async def main():
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(certificate, key)

    def conversation():
        return SMTP(
            Keeper(),
            hostname="localhost",
            tls_context=context,
            require_starttls=True,
            auth_required=True,
            authenticator=authenticate,
        )

    server = await asyncio.get_running_loop().create_server(conversation, "127.0.0.1", int(port))
    await server.serve_forever()


asyncio.run(main())
