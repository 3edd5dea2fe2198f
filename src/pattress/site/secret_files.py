"""Secrets and certificates that the site file names but does not hold.

What belongs here: finding and reading them, and saying what is wrong with one without showing any of it.
"""

import stat
from pathlib import Path

from pattress.model.site import Secret
from pattress.site.shapes import Mismatch

MAX_SECRET_BYTES = 4_096  # the longest tokens in use are about 2 kB


def read_secret(name: str, *, folder: Path, credentials_folder: Path | None) -> Secret:
    """Return the secret in the file of this name, less one line end at its end.

    The folder of systemd's credentials is looked in first: by the file's base name, and by the name that a whole folder
    loaded as one credential gives it (`secrets/broker` is `secrets_broker` then). After that, the site's folder.

    Raises:
        Mismatch: With what is wrong. It shows neither the content nor the name, which may be the secret itself.
    """
    path = Path(name)
    credentials = [path.name, f"{path.parent.name}_{path.name}"]  # systemd.exec(5), LoadCredential= of a directory
    data = _first_readable(
        [credentials_folder / credential for credential in credentials] if credentials_folder else [], folder / name
    )
    if len(data) > MAX_SECRET_BYTES:
        raise Mismatch(_EXPECTED, found=f"a file of more than {MAX_SECRET_BYTES} bytes")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        raise Mismatch(_EXPECTED, found="a file that is not text in UTF-8") from None
    text = text.removesuffix("\n").removesuffix("\r")
    if not text:
        raise Mismatch(_EXPECTED, found="an empty file")
    if any(character in text for character in "\n\r\0"):
        # It would end a header line early, and what follows would be sent as a header of its own.
        raise Mismatch(_EXPECTED, found="a file of more than one line")
    return Secret(text)


def certificate_file(name: str, *, folder: Path) -> Path:
    """Return the path of a file of trusted certificates, checked to hold at least one.

    Raises:
        Mismatch: With what is wrong.
    """
    import ssl  # here, because most sites name no such file and the import is a slow one

    path = folder / name
    expected = "a file with a certificate in PEM, relative to the site's folder"
    try:
        is_regular = stat.S_ISREG(path.stat().st_mode)
        if is_regular:
            ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT).load_verify_locations(cafile=path)
    except ssl.SSLError:
        raise Mismatch(expected, found=f'"{name}", which holds no certificate that can be read') from None
    except (OSError, ValueError) as error:
        raise Mismatch(expected, found=f'"{name}", which {_reason(error)}') from None
    if not is_regular:
        raise Mismatch(expected, found=f'"{name}", which is not a regular file')
    return path


def _first_readable(first: list[Path], last: Path) -> bytes:
    for path in [*first, last]:
        try:
            is_regular = stat.S_ISREG(path.stat().st_mode)
            if is_regular:
                with path.open("rb") as stream:
                    return stream.read(MAX_SECRET_BYTES + 1)
        except FileNotFoundError:
            continue
        except (OSError, ValueError) as error:
            raise Mismatch(_EXPECTED, found=f"a file that {_reason(error)}") from None
        raise Mismatch(_EXPECTED, found="something that is not a regular file")
    raise Mismatch(_EXPECTED, found="the name of a file that does not exist")


def _reason(error: OSError | ValueError) -> str:
    if isinstance(error, FileNotFoundError):
        return "does not exist"
    known = error.strerror if isinstance(error, OSError) else "its name is not one"
    return f"cannot be read ({(known or 'no reason').lower()})"


_EXPECTED = "the name of a file that holds the secret as one line of text"
