"""The fingerprint of a pack: equal for equal knowledge, whatever file it stands in."""

import hashlib

import msgspec

from service.compiler.draft import Draft

_encoder = msgspec.json.Encoder(order="deterministic")


def digest_of(draft: Draft) -> str:
    """Return SHA-256, in hex, over the manifest and all live records in order of kind and id.

    Keys are sorted and numbers written one way, so that neither the order within a table nor
    the file a record stands in matters; comments and drafts do not count.
    """
    found = hashlib.sha256(_encoder.encode(draft.manifest))
    for kind in draft.live.__struct_fields__:
        found.update(b"\n" + kind.encode())
        for key, record in getattr(draft.live, kind).items():
            found.update(b"\n" + key.encode() + b"\n" + _encoder.encode(record))
    return found.hexdigest()
