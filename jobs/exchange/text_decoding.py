"""Decoding of text files."""

from jobs.exchange.issues import file_error


def decode_utf8(content: bytes) -> str:
    """Decode UTF-8, with or without a byte order mark.

    Raises
    ------
    DocumentError
        If it is not UTF-8.
    """
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        message = f"This is not UTF-8 text, at byte {error.start}: save it as UTF-8."
        raise file_error(message) from None
