"""A device with passkeys, in software: W3C Web Authentication, section 6, ES256."""

import hashlib
import json
import secrets
from dataclasses import dataclass, field
from typing import Any

import cbor2
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from webauthn.helpers import base64url_to_bytes, bytes_to_base64url

ORIGIN = "http://localhost:8000"
PRESENT, VERIFIED, ATTESTED = 0x01, 0x04, 0x40  # flags of the authenticator data


@dataclass
class Authenticator:
    """One key pair; what it says of itself can be set otherwise before it signs."""

    origin: str = ORIGIN
    rp_id: str = "localhost"
    flags: int = PRESENT | VERIFIED
    count: int = 0
    handle: bytes = b""
    key_id: bytes = field(default_factory=lambda: secrets.token_bytes(32))
    key: Any = field(default_factory=lambda: ec.generate_private_key(ec.SECP256R1()))

    def make(self, options: dict[str, Any]) -> str:
        """Answer what `navigator.credentials.create` was asked, attestation none."""
        self.handle = base64url_to_bytes(options["user"]["id"])
        numbers = self.key.public_key().public_numbers()
        public = {1: 2, 3: -7, -1: 1}  # RFC 9053: EC2, ES256, P-256
        public |= {-2: numbers.x.to_bytes(32), -3: numbers.y.to_bytes(32)}
        named = bytes(16) + len(self.key_id).to_bytes(2) + self.key_id
        data = self._data(self.flags | ATTESTED) + named + cbor2.dumps(public)
        attested = {"fmt": "none", "attStmt": {}, "authData": data}
        return self._told(
            clientDataJSON=self._client("webauthn.create", options),
            attestationObject=cbor2.dumps(attested),
            transports=["internal"],
        )

    def sign(self, options: dict[str, Any]) -> str:
        """Answer what `navigator.credentials.get` was asked."""
        self.count += 1
        data, client = self._data(self.flags), self._client("webauthn.get", options)
        signed = data + hashlib.sha256(client).digest()
        return self._told(
            clientDataJSON=client,
            authenticatorData=data,
            signature=self.key.sign(signed, ec.ECDSA(hashes.SHA256())),
            userHandle=self.handle,
        )

    def _data(self, flags: int) -> bytes:
        host = hashlib.sha256(self.rp_id.encode()).digest()
        return host + bytes([flags]) + self.count.to_bytes(4)

    def _client(self, kind: str, options: dict[str, Any]) -> bytes:
        members = {"type": kind, "challenge": options["challenge"]}
        return json.dumps({**members, "origin": self.origin}).encode()

    def _told(self, **response: Any) -> str:
        named = bytes_to_base64url(self.key_id)
        written = {
            name: bytes_to_base64url(value) if isinstance(value, bytes) else value
            for name, value in response.items()
        }
        key = {"id": named, "rawId": named, "type": "public-key", "response": written}
        return json.dumps(key)
