"""What went wrong, for who looks at a page: what it means to them and what to do."""

from service.wording.words import Words, phrase

_WORDS = {
    "not-found": (
        phrase("Nothing of that name is here"),
        phrase("There is no such thing, or it is at a site that you do not work at."),
    ),
    "insufficient-scope": (
        phrase("This is not yours to do"),
        phrase("Your role does not allow it. Ask who manages your site."),
    ),
    "signed-out": (
        phrase("You are signed out on this device"),
        phrase("Sign in again. What you typed is kept."),
    ),
    "forged": (
        phrase("It came from a page of another site"),
        phrase("Nothing was recorded. Open the page here and send it again."),
    ),
    "validation-error": (
        phrase("Something in it can't be"),
        phrase("Nothing was recorded. Go back and look at what was typed."),
    ),
    "quota-exceeded": (
        phrase("That was too often"),
        phrase("Wait a minute and try again."),
    ),
    "content-too-large": (
        phrase("It is too much at once"),
        phrase("Nothing was recorded. Send it in parts."),
    ),
    "internal-error": (
        phrase("Something broke here"),
        phrase("It is not your fault. What you typed may not be recorded: look before you retry."),
    ),
}
_LATER = (
    phrase("The service can't answer just now"),
    phrase("Try again in a moment. Nothing that was recorded is lost."),
)
_ELSE = (
    phrase("It could not be read"),
    phrase("Nothing was recorded. Go back and try again."),
)


# Who only looks has recorded nothing, and typed nothing but what is in the address.
_ADDRESS = (
    phrase("This address can't be understood"),
    phrase("Something in it, or in what was asked for, can't be so. Go back and ask otherwise."),
)


def problem_in_words(words: Words, slug: str, status: int, method: str) -> tuple[str, str]:
    """A title and what to do about it. `method`: of the request."""
    title, advice = _WORDS.get(slug, _LATER if status >= 500 else _ELSE)
    if method in ("GET", "HEAD") and (title, advice) in (_WORDS["validation-error"], _ELSE):
        title, advice = _ADDRESS
    return words.gettext(title), words.gettext(advice)
