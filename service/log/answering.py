"""The body of an answer to a request to record, as bytes: what is sent and what a retry gets."""

import msgspec

from service.log.submission import Answer

_encode = msgspec.json.Encoder().encode


def encode(answer: Answer, array: bool) -> bytes:
    """`{"position", "verdicts"}`; with `array`, pointers of errors begin with the event's index."""
    verdicts = answer.verdicts
    if array and any(verdict.errors for verdict in verdicts):
        verdicts = [
            msgspec.structs.replace(
                verdict,
                errors=[
                    msgspec.structs.replace(
                        fault, pointer=f"#/{index}{fault.pointer.removeprefix('#')}"
                    )
                    for fault in verdict.errors
                ],
            )
            for index, verdict in enumerate(verdicts)
        ]
    return _encode({"position": answer.position, "verdicts": verdicts})
