"""The one user that the broker inside the process lets in. The broker loads this by name; nothing else imports it."""

import hmac
from dataclasses import dataclass

from amqtt.contexts import BaseContext
from amqtt.plugins.base import BaseAuthPlugin
from amqtt.session import Session


class OneUser(BaseAuthPlugin):  # type: ignore[misc]  # the library has no types
    """Lets in one user with one secret."""

    def __init__(self, context: BaseContext) -> None:
        super().__init__(context)
        self._user: str = context.config.user
        self._secret: str = context.config.secret

    async def authenticate(self, *, session: Session) -> bool:
        """Return whether a client showed the user and the secret."""
        given = f"{session.username or ''}\n{session.password or ''}".encode()
        return hmac.compare_digest(given, f"{self._user}\n{self._secret}".encode())

    @dataclass
    class Config:
        """What the broker passes on."""

        user: str
        secret: str
