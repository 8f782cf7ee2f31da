"""The frontier grows to the same tree however it is fed, and its nodes make every proof."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.ledger import proof
from audit.ledger.errors import LedgerError
from audit.ledger.merkle import (
    EMPTY_ROOT,
    Coordinate,
    Frontier,
    Node,
    fold,
    leaf_hash,
    node_hash,
    root,
)
from audit.ledger.proof import Span

sizes = st.lists(st.integers(0, 70), max_size=8)


def leaves(size: int) -> list[bytes]:
    return [leaf_hash(b"%d" % at) for at in range(size)]


def plain_root(hashes: list[bytes]) -> bytes:
    """RFC 9162 section 2.1.1 as it is written there."""
    if len(hashes) < 2:
        return hashes[0] if hashes else EMPTY_ROOT
    split = 1
    while split * 2 < len(hashes):
        split *= 2
    return node_hash(plain_root(hashes[:split]), plain_root(hashes[split:]))


def stored(hashes: list[bytes]) -> dict[Coordinate, bytes]:
    nodes = {Coordinate(0, at): one for at, one in enumerate(hashes)}
    nodes |= {Coordinate(n.level, n.offset): n.hash for n in Frontier().append(hashes)}
    return nodes


@given(sizes)
def test_batches_complete_each_node_once_and_give_the_recursive_root(batches: list[int]) -> None:
    hashes, frontier, nodes = leaves(sum(batches)), Frontier(), list[Node]()
    for batch in batches:
        taken = hashes[frontier.size : frontier.size + batch]
        nodes += frontier.append(taken)
        frontier = Frontier(frontier.size, frontier.hashes)  # as read back from a store
    assert frontier.root() == plain_root(hashes) == root(hashes)
    places = [(node.level, node.offset) for node in nodes]
    size, level = len(hashes), 1
    expected = set()
    while size >> level:
        expected |= {(level, at) for at in range(size >> level)}
        level += 1
    assert set(places) == expected
    assert len(places) == len(expected)


@given(st.integers(1, 200), st.data())
def test_proofs_hold_and_a_changed_one_does_not(size: int, data: st.DataObject) -> None:
    hashes = leaves(size)
    index, old = data.draw(st.integers(0, size - 1)), data.draw(st.integers(0, size))
    nodes, new_root, old_root = stored(hashes), root(hashes), root(hashes[:old])
    path = proof.resolve(proof.inclusion_spans(index, size), nodes)
    joint = proof.resolve(proof.consistency_spans(old, size), nodes)
    assert len(path) <= size.bit_length()
    assert proof.includes(leaf=hashes[index], index=index, size=size, root=new_root, proof=path)
    assert proof.extends(old=old, new=size, old_root=old_root, new_root=new_root, proof=joint)
    other = leaf_hash(b"other")
    for wrong in ([*path, other], path[1:], [other, *path[1:]]):
        if wrong != path:
            assert not proof.includes(
                leaf=hashes[index], index=index, size=size, root=new_root, proof=wrong
            )
    assert not proof.extends(old=old, new=size, old_root=other, new_root=new_root, proof=joint)
    assert not proof.extends(
        old=old, new=size, old_root=old_root, new_root=new_root, proof=[*joint, other]
    )


def test_a_proof_for_a_neighbour_does_not_hold() -> None:
    hashes = leaves(100)
    path = proof.resolve(proof.inclusion_spans(41, 100), stored(hashes))
    for index in range(100):
        holds = proof.includes(
            leaf=hashes[41], index=index, size=100, root=root(hashes), proof=path
        )
        assert holds is (index == 41)


@given(st.integers(0, 300), st.integers(0, 300))
def test_a_span_is_tiled_by_perfect_subtrees(start: int, width: int) -> None:
    tiles = proof.coordinates(Span(start, start + width))
    covered = [at for level, place in tiles for at in range(place << level, (place + 1) << level)]
    assert covered == list(range(start, start + width))


def test_subtrees_stand_in_for_leaves_not_shown() -> None:
    hashes, nodes = leaves(77), stored(leaves(77))
    frontier = Frontier()
    frontier.extend(hashes[:13])
    for at in proof.coordinates(Span(13, 60)):
        frontier.append_subtree(at.level, nodes[at])
    frontier.extend(hashes[60:])
    assert frontier.root() == root(hashes)
    with pytest.raises(LedgerError, match="aligned at 77"):
        frontier.append_subtree(3, hashes[0])


def test_a_million_entries_need_at_most_twenty_hashes() -> None:
    chance = random.Random(1)
    for _ in range(1000):
        size = chance.randrange(1, 1_000_001)
        assert len(proof.inclusion_spans(chance.randrange(size), size)) <= 20


def test_bad_input_is_named() -> None:
    one = leaf_hash(b"")
    for call, field in (
        (lambda: proof.inclusion_spans(3, 3), "index"),
        (lambda: proof.consistency_spans(4, 3), "old size"),
        (lambda: Frontier(3, [one]), "hashes"),
        (lambda: Frontier(-1), "size"),
        (lambda: root([b"short"]), "leaf hash"),
        (lambda: proof.resolve([Span(0, 4)], {}), "node"),
        (lambda: proof.includes(leaf=b"", index=0, size=1, root=one, proof=[]), "leaf"),
    ):
        with pytest.raises(LedgerError) as caught:
            call()
        assert caught.value.field == field
    assert fold([]) == EMPTY_ROOT
