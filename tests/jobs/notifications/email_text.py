"""Reading a letter as its receiver would."""

import re
from email.message import EmailMessage
from html.parser import HTMLParser

from django.core.mail import EmailMultiAlternatives


def words_of(message: EmailMultiAlternatives) -> tuple[str, str]:
    """Return both texts of a letter, the HTML one without its tags, blanks as one."""
    (html,) = [text for text, kind in message.alternatives if kind == "text/html"]
    return _plain(message.body), _plain(_Words.of(str(html)))


def links_of(message: EmailMultiAlternatives) -> tuple[set[str], set[str]]:
    """Return the links of both texts of a letter."""
    html = str(message.alternatives[0][0])
    written = re.findall(r"https?://\S+", message.body)
    return set(written), set(re.findall(r'href="([^"]*)"', html.replace("&amp;", "&")))


def sent_as(message: EmailMultiAlternatives) -> EmailMessage:
    """Return a letter as it goes over the wire, read back."""
    from email import message_from_bytes, policy

    return message_from_bytes(message.message().as_bytes(), policy=policy.default)


def _plain(text: str) -> str:
    return " ".join(text.split())


class _Words(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.hidden = 0

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.hidden += tag in ("style", "title", "head")
        self.words.append(" ")

    def handle_endtag(self, tag: str) -> None:
        self.hidden -= tag in ("style", "title", "head")

    def handle_data(self, data: str) -> None:
        if not self.hidden:
            self.words.append(data)

    @classmethod
    def of(cls, html: str) -> str:
        parser = cls()
        parser.feed(html)
        return "".join(parser.words)
