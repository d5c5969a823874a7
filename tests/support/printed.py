"""What a PDF says, by another hand's reader."""

import httpx
import pypdfium2


def text_of(made: bytes) -> str:
    """The words on all pages, in the order in which they were drawn."""
    document = pypdfium2.PdfDocument(made)
    return "\n".join(page.get_textpage().get_text_range() for page in document)


def said_in(answer: httpx.Response) -> str:
    """The text of an answer; of a PDF the words on its pages, not the letters of its coding."""
    if answer.headers.get("content-type") == "application/pdf":
        return text_of(answer.content)
    return answer.text
