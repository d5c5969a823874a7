"""`graftlog mail`: a digest to look at, and a trial of the mail server."""

import asyncio

from tests.support.commands import graftlog
from tests.support.mail_desk import Desk


async def test_a_digest_is_printed_and_the_server_tried(mail_desk: Desk, tmp_path) -> None:
    await mail_desk.person("ines", "CORIN", language="es")
    await mail_desk.runner.catch_up()
    settings = mail_desk.settings
    assert settings.database_url is not None
    assert settings.secrets_key is not None
    told = {"DATABASE_URL": settings.database_url, "SECRETS_KEY": settings.secrets_key[0]}
    page = tmp_path / "digest.html"
    server = {"MAIL_SERVER": f"smtp+plain://127.0.0.1:{mail_desk.box.port}",
              "MAIL_FROM": "Corin <mail@corin.example>"}  # fmt: skip
    mail_desk.box.refused["gone@corin.example"] = "550 no such person"
    said, nobody, tried, refused = await asyncio.gather(
        graftlog("mail", "preview", "ines", "--html", str(page), **told),
        graftlog("mail", "preview", "nobody", **told),
        graftlog("mail", "try", "ines@corin.example", **told, **server),
        graftlog("mail", "try", "gone@corin.example", **told, **server),
    )
    assert said.code == 0, said.err
    assert said.out.startswith("Subject: Corin, ")
    assert "No está en este correo lo que nadie anotó." in said.out
    assert '<html lang="es">' in page.read_text()
    assert nobody.code == 1
    assert "nobody who signs in is called nobody" in nobody.err
    assert tried.code == 0, tried.err
    (mail,) = mail_desk.box.mails
    assert mail["To"] == "ines@corin.example"
    assert refused.code == 1
    assert "550" in refused.err
