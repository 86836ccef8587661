"""Mail servers that do not do what they should."""

from smtplib import SMTPRecipientsRefused

from django.core.mail.backends.locmem import EmailBackend


class UnreachableBackend(EmailBackend):
    """Nobody answers."""

    def open(self) -> None:
        raise ConnectionRefusedError


class RejectingBackend(EmailBackend):
    """Takes no letter to whoever begins with an o."""

    def send_messages(self, messages):
        if messages[0].to[0].startswith("o"):
            raise SMTPRecipientsRefused({messages[0].to[0]: (550, b"unknown")})
        return super().send_messages(messages)


class CrashingBackend(EmailBackend):
    """The worker is ended between the mark and the letter."""

    def send_messages(self, messages):
        raise KeyboardInterrupt
