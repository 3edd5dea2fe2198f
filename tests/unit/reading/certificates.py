"""Private certificates for tests of TLS."""

import hashlib
import ssl
from pathlib import Path

import trustme

from raw_server import LOOPBACK


class Authority:
    """A private CA with one certificate for a device on loopback."""

    def __init__(self, folder: Path, name: str = "house", address: str = LOOPBACK) -> None:
        self.file = folder / f"{name}.pem"
        authority = trustme.CA()
        authority.cert_pem.write_to_path(str(self.file))
        issued = authority.issue_cert(address)
        self.certificate_file = folder / f"{name}-device.pem"
        self.key_file = folder / f"{name}-device.key"
        issued.cert_chain_pems[0].write_to_path(str(self.certificate_file))
        issued.private_key_pem.write_to_path(str(self.key_file))
        der = ssl.PEM_cert_to_DER_cert(self.certificate_file.read_text())
        self.sha256 = hashlib.sha256(der).hexdigest()

    def server_context(self) -> ssl.SSLContext:
        """Return what a server of the device needs."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(self.certificate_file, self.key_file)
        return context
