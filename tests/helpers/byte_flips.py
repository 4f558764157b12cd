"""Every change of one byte in a signed file is refused. By hand, over many places:

    .venv/bin/python tests/helpers/byte_flips.py 2000 [seed]

In each kind of file so many places are drawn, and half as many inside the containers of
its signatures, which have padding, letter case and unsigned parts. Prints the accepted changes;
the tests draw fewer.
"""

from __future__ import annotations

import logging
import random
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from functools import cache

from compliance.model.signatures import Signer
from compliance.signing.certificates import read_certificates
from compliance.signing.read import read_signatures
from helpers.authorities import Within, clock, leaf, root
from helpers.signing import byte_ranges, countersigned, identity, signed


@cache
def plain() -> bytes:
    return signed()


@cache
def twice() -> bytes:
    return countersigned(plain())


@cache
def with_chain() -> bytes:
    return signed(who=leaf().identity)


@cache
def stamped() -> bytes:
    return signed(who=leaf().identity, stamper=Within())


@cache
def stamped_twice() -> bytes:
    return countersigned(stamped(), stamper=Within())


FILES: Mapping[str, Callable[[], bytes]] = {
    "signed": plain,
    "countersigned": twice,
    "with a chain": with_chain,
    "stamped": stamped,
    "stamped twice": stamped_twice,
}


def trusted() -> tuple[Signer, ...]:
    """The authority, and the two self-issued signers."""
    pem = root().pem + identity().pem + identity("Cleo Client").pem
    return read_certificates(pem)


def refused(data: bytes) -> bool:
    """Whether a check with all signers and authorities trusted fails, at any step."""
    try:
        seal = read_signatures(data, trusted(), read_certificates(clock().root.pem))
    except Exception:
        return True
    return (
        not seal.signatures
        or bool(seal.all_faults)
        or not all(
            each.trusted_as
            and each.moment is not None
            and each.signer.valid_at(each.moment)
            and (each.stamp is None or each.stamp.trusted_as)
            for each in seal.signatures
        )
    )


def changes(data: bytes, count: int, seed: int) -> Iterator[tuple[int, bytes]]:
    """Places and the file with that byte changed; in the containers digits to other digits."""
    chance = random.Random(seed)
    holes = [(before + 1, after - 1) for _, before, after, _ in byte_ranges(data)]
    for _ in range(count):
        place = chance.randrange(len(data))
        yield place, _with(data, place, data[place] ^ chance.randrange(1, 256))
    for _ in range(count // 2):
        place = chance.randrange(*chance.choice(holes))
        others = [digit for digit in b"0123456789abcdefABCDEF" if digit != data[place]]
        yield place, _with(data, place, chance.choice(others))


def _with(data: bytes, place: int, value: int) -> bytes:
    return data[:place] + bytes([value]) + data[place + 1 :]


def let_pass(name: str, count: int, seed: int) -> list[int]:
    """Places in a file of that kind with unnoticed changes; there should be none."""
    data = FILES[name]()
    assert not refused(data), f"{name}: refused as it is"
    return [place for place, changed in changes(data, count, seed) if not refused(changed)]


def main(arguments: list[str]) -> None:
    """Print a line for each kind of file."""
    logging.disable(logging.CRITICAL)
    count = int(arguments[0]) if arguments else 2000
    seed = int(arguments[1]) if len(arguments) > 1 else 1
    for name in FILES:
        start = time.monotonic()
        missed = let_pass(name, count, seed)
        print(
            f"{name}: {count} bytes of {len(FILES[name]())}, {count // 2} digits in containers: "
            f"{len(missed)} let pass, {time.monotonic() - start:.0f} s",
            *sorted(Counter(missed)),
            flush=True,
        )


if __name__ == "__main__":
    main(sys.argv[1:])
