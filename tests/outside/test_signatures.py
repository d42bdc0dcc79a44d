"""Signatures against RFC 8032: its first test vector (from memory; it verifies), and the curve's arithmetic (5.1)."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from journal.record.keys import JournalKey, signed_by

P = 2**255 - 19
D = -121665 * pow(121666, -1, P) % P
ROOT = pow(2, (P - 1) // 4, P)
"""A square root of -1."""
ZERO = (0, 1)

Point = tuple[int, int]


def added(one: Point, other: Point) -> Point:
    """RFC 8032, 5.1.4, in plain coordinates."""
    (x1, y1), (x2, y2) = one, other
    both = D * x1 * x2 * y1 * y2 % P
    return (
        (x1 * y2 + x2 * y1) * pow(1 + both, -1, P) % P,
        (y1 * y2 + x1 * x2) * pow(1 - both, -1, P) % P,
    )


def xs_of(y: int) -> Iterator[int]:
    """Both x of a y, where there are any (RFC 8032, 5.1.3)."""
    squared = (y * y - 1) * pow(D * y * y + 1, -1, P) % P
    x = pow(squared, (P + 3) // 8, P)
    for root in (x, x * ROOT % P):
        if root * root % P == squared:
            yield from {root, -root % P}
            return


def of_small_order() -> set[Point]:
    """Every point that is nothing eight times over: the multiples of the prime order's of any points of the curve."""
    order = 2**252 + 27742317777372353535851937790883648493
    found = {ZERO}
    for y in range(2, 40):
        for x in xs_of(y):
            total, double, times = ZERO, (x, y), order
            while times:
                total = added(total, double) if times & 1 else total
                double, times = added(double, double), times >> 1
            found.add(total)
    return found


def as_keys(y: int) -> Iterator[bytes]:
    """Every way to write a point with that y as a key, those that nobody should write among them."""
    for written in (y, y + P):
        for sign in (0, 1):
            if written < 2**255:
                yield (written | sign << 255).to_bytes(32, "little")


ANYBODYS = sorted({key for _, y in of_small_order() for key in as_keys(y)})
NOTHING = (1).to_bytes(32, "little")


def test_the_first_vector_of_rfc_8032_is_a_signature_and_of_no_other_message() -> None:
    public = bytes.fromhex("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a")
    signature = bytes.fromhex(
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"
    )
    assert signed_by(public, signature, b"")
    assert not signed_by(public, signature, b"x")
    assert not signed_by(public[:31], signature, b"") and not signed_by(b"", signature, b"")


def test_there_are_eight_points_of_small_order_and_fourteen_ways_to_write_them() -> None:
    assert len(of_small_order()) == 8 and len(ANYBODYS) == 14


@pytest.mark.parametrize("public", ANYBODYS, ids=bytes.hex)
def test_a_key_that_anybody_can_sign_by_signs_nothing(public: bytes) -> None:
    """Such a signature, the point that is nothing and 0, fits one message in eight at least."""
    for number in range(64):
        assert not signed_by(public, NOTHING + bytes(32), b"message %d" % number)


def test_one_of_them_would_be_taken_by_the_library() -> None:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    Ed25519PublicKey.from_public_bytes(NOTHING).verify(NOTHING + bytes(32), b"whatever")


def test_a_journals_own_key_signs() -> None:
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    private = Ed25519PrivateKey.generate()
    public = private.public_key().public_bytes(serialization.Encoding.Raw, serialization.PublicFormat.Raw)
    assert signed_by(public, JournalKey(public, private).sign(b"so"), b"so")
