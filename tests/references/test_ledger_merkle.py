"""The tree against Certificate Transparency's vectors and an independent library."""

import json
import random
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from pymerkle import InmemoryTree, verify_consistency

from audit.ledger import merkle, proof
from audit.ledger.merkle import Coordinate, Frontier

# transparency-dev/merkle @417fb0c testonly/constants.go, reference_test.go (references 8.5 to 8.8)
CT: dict[str, Any] = json.loads(
    (Path(__file__).parent / "data" / "ct_merkle_vectors.json").read_text()
)
LEAVES = [bytes.fromhex(text) for text in CT["leaf_inputs_hex"]]
HASHES = [merkle.leaf_hash(leaf) for leaf in LEAVES]
ROOTS = [bytes.fromhex(text) for text in CT["roots_by_size"]]


def stored(leaf_hashes: list[bytes]) -> dict[Coordinate, bytes]:
    """Every node of the tree, as a store would hold them."""
    nodes = {Coordinate(0, at): one for at, one in enumerate(leaf_hashes)}
    for node in Frontier().append(leaf_hashes):
        nodes[Coordinate(node.level, node.offset)] = node.hash
    return nodes


# references 8.1 to 8.4: FIPS 180-4 examples; the first as printed there, the rest from memory
# and confirmed by hashlib.
@pytest.mark.parametrize(("data", "digest"), [
    (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
    (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
    (b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
     "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"),
    (b"a" * 10**6, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
])  # fmt: skip
def test_sha256_of_the_machine_this_runs_on(data: bytes, digest: str) -> None:
    assert sha256(data).hexdigest() == digest


def test_leaf_and_node_hashes() -> None:
    # references 8.9: transparency-dev/merkle rfc6962_test.go
    leaf = "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56"
    node = "aa217fe888e47007fa15edab33c2b492a722cb106c64667fc2b044444de66bbb"
    assert merkle.leaf_hash(b"L123456").hex() == leaf
    assert merkle.node_hash(b"N123", b"N456").hex() == node


def test_leaf_hashes_and_roots_of_every_size() -> None:
    assert [one.hex() for one in HASHES] == CT["leaf_hashes"]
    assert [merkle.root(HASHES[:size]) for size in range(9)] == ROOTS


@pytest.mark.parametrize("row", CT["inclusion"])
def test_inclusion_proof(row: dict[str, Any]) -> None:
    index, size = row["index"], row["size"]
    path = proof.resolve(proof.inclusion_spans(index, size), stored(HASHES))
    assert [step.hex() for step in path] == row["path"]
    assert proof.includes(leaf=HASHES[index], index=index, size=size, root=ROOTS[size], proof=path)


@pytest.mark.parametrize("row", CT["consistency"])
def test_consistency_proof(row: dict[str, Any]) -> None:
    old, new = row["size1"], row["size2"]
    path = proof.resolve(proof.consistency_spans(old, new), stored(HASHES))
    assert [step.hex() for step in path] == row["path"]
    assert proof.extends(old=old, new=new, old_root=ROOTS[old], new_root=ROOTS[new], proof=path)


@pytest.mark.parametrize("size", [1, 2, 3, 7, 8, 9, 255, 256, 1000, 4097, 10_000])
def test_an_independent_library_agrees_on_random_trees(size: int) -> None:
    # pymerkle 7, which counts leaves from one and puts the leaf itself into its path
    chance = random.Random(size)
    data = [chance.randbytes(chance.randrange(1, 40)) for _ in range(size)]
    peer = InmemoryTree.init_from_entries(data, algorithm="sha256")
    leaves = [merkle.leaf_hash(one) for one in data]
    nodes = stored(leaves)
    for _ in range(20):
        new = chance.randrange(1, size + 1)
        index, old = chance.randrange(new), chance.randrange(1, new + 1)
        assert peer.get_root(new) == merkle.root(leaves[:new])
        mine = proof.resolve(proof.inclusion_spans(index, new), nodes)
        theirs = peer.prove_inclusion(index + 1, new).path
        assert mine == [step for step in theirs if step != leaves[index]]
        joint = proof.resolve(proof.consistency_spans(old, new), nodes)
        # Its consistency proofs split otherwise than the RFC's: each checks the other's roots.
        verify_consistency(merkle.root(leaves[:old]), merkle.root(leaves[:new]),
                           peer.prove_consistency(old, new))  # fmt: skip
        assert proof.extends(old=old, new=new, old_root=peer.get_root(old),
                             new_root=peer.get_root(new), proof=joint)  # fmt: skip
