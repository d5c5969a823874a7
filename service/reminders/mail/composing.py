"""From a letter to a mail: laid out as text and HTML, then put into its envelope.

Headers are set by the standard library alone, which refuses line breaks in them.
"""

from datetime import datetime
from email.headerregistry import Address, BaseHeader, HeaderRegistry, UnstructuredHeader
from email.message import EmailMessage
from email.policy import SMTP, Policy
from functools import cache
from typing import NamedTuple
from uuid import UUID

from jinja2 import Environment, PackageLoader, StrictUndefined, Template, select_autoescape

from service.reminders.mail.addresses import Ways
from service.reminders.mail.letters import Letter
from service.wording.shown import Shown
from service.wording.words import spoken, teach

# RFC 2919; of the service's reminders, one list for all of a nursery's people.
_LIST = "reminders"
_LONGEST_SUBJECT = 200


class _InOneLine(UnstructuredHeader, BaseHeader):
    """A header that holds an address or an id, which is never broken.

    The library encodes (RFC 2047) what does not fit into 78 characters, where it must not stand:
    nobody could stop mails by such an address, and no mail would be joined to another.
    """

    max_count = 1

    def fold(self, *, policy: Policy) -> str:
        return f"{self.name}: {self}{policy.linesep}"


_HEADERS = HeaderRegistry()
for _name in ("Message-ID", "In-Reply-To", "References", "List-Id", "List-Unsubscribe"):
    _HEADERS.map_to_type(_name, _InOneLine)
_POLICY = SMTP.clone(header_factory=_HEADERS)


class Written(NamedTuple):
    """A mail without its envelope. `subject` is one line."""

    subject: str
    plain: str
    html: str


class Envelope(NamedTuple):
    """What stands round a mail. `stop`: the page that ends mails; `thread`: the day's first one."""

    sender: Address
    name: str
    email: str
    id: UUID
    thread: UUID
    made_at: datetime
    stop: str


def laid_out(letter: Letter, shown: Shown, ways: Ways) -> Written:
    """The letter as plain text and as HTML."""
    with spoken(shown.words):
        plain, html = (
            _template(name).render(letter=letter, ways=ways, language=shown.language)
            for name in ("letter.txt", "letter.html")
        )
    subject = " ".join(letter.subject.split())
    if len(subject) > _LONGEST_SUBJECT:
        subject = subject[: _LONGEST_SUBJECT - 1] + "…"
    return Written(subject, plain, html)


def mail(written: Written, envelope: Envelope) -> EmailMessage:
    """The mail as it goes out. Raises ValueError for an address that can't be one.

    It says that a program wrote it (RFC 3834), of which list it is (RFC 2919) and how to have no
    more of it with one click (RFC 8058, where this service is reached by https).
    """
    made = EmailMessage(_POLICY)
    made["From"] = envelope.sender
    made["To"] = _to(envelope)
    made["Subject"] = written.subject
    made["Date"] = envelope.made_at
    domain = envelope.sender.domain
    made["Message-ID"] = f"<{envelope.id}@{domain}>"
    if envelope.thread != envelope.id:
        made["In-Reply-To"] = made["References"] = f"<{envelope.thread}@{domain}>"
    made["Auto-Submitted"] = "auto-generated"
    made["List-Id"] = f"<{_LIST}.{domain}>"
    made["List-Unsubscribe"] = f"<{envelope.stop}>"
    if envelope.stop.startswith("https://"):
        made["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    made.set_content(written.plain)
    made.add_alternative(written.html, subtype="html")
    return made


def _to(envelope: Envelope) -> Address:
    # Of a name only what is one line; the contact's text may hold more.
    name = " ".join("".join(c if c.isprintable() else " " for c in envelope.name).split())
    try:
        return Address(display_name=name, addr_spec=envelope.email)
    except Exception as error:
        # The library's parser falls over some of them: IndexError, AttributeError, its own errors.
        raise ValueError("no address that mail can go to") from error


@cache
def _template(name: str) -> Template:
    made = Environment(
        loader=PackageLoader("service.reminders.mail"),
        autoescape=select_autoescape(("html",)),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    teach(made)
    return made.get_template(name)
