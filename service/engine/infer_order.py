"""In which order terms and bits are summed out, and how many table cells that costs.

Apart from the sums because the work budget needs the cost without doing the work. Neighbours
are bit masks of Python integers: a set operation on a hundred nodes is one machine-code loop.
"""

from service.model.records import Leaf

CHEAP = 1 << 15
"""Cells below which no second order is looked for: summing costs less than looking."""


class Private(Leaf, frozen=True, kw_only=True):
    """A variable that only one term touches, with the places of its bits there, -1 for none."""

    term: int
    variable: int
    left: int
    right: int


class Part(Leaf, frozen=True, kw_only=True):
    """One connected part as a graph: its terms are the first nodes, the shared bits the others.

    `edges` are (term, place among its bits, node of the bit); `coupled` the nodes of the two
    sides of one variable where both are touched. Private variables are no nodes: summed out
    first, each leaves only one number for each product of its term.
    """

    bits: tuple[int, ...]
    sizes: tuple[int, ...]
    edges: tuple[tuple[int, int, int], ...]
    coupled: tuple[tuple[int, int], ...]
    neighbours: tuple[int, ...]
    private: tuple[Private, ...]


def part_of(sizes: list[int], bits: list[tuple[int, ...]], rank: tuple[int, ...]) -> Part:
    """Return the graph of terms with these sizes over these bits; bits stand in `rank` order."""
    touching: dict[int, set[int]] = {}
    for t, term in enumerate(bits):
        for b in term:
            touching.setdefault(b >> 1, set()).add(t)
    shared = {v for v, terms in touching.items() if len(terms) > 1}
    own = sorted({b for term in bits for b in term if b >> 1 in shared}, key=rank.__getitem__)
    node = {b: len(sizes) + n for n, b in enumerate(own)}
    edges = tuple(
        (t, i, node[b]) for t, term in enumerate(bits) for i, b in enumerate(term) if b in node
    )
    coupled = tuple((node[b], node[b + 1]) for b in own if not b & 1 and b + 1 in node)
    neighbours = [0] * (len(sizes) + len(own))
    for a, b in [*((t, n) for t, _, n in edges), *coupled]:
        neighbours[a] |= 1 << b
        neighbours[b] |= 1 << a
    return Part(
        bits=tuple(own),
        sizes=(*sizes, *(2 for _ in own)),
        edges=edges,
        coupled=coupled,
        neighbours=tuple(neighbours),
        private=tuple(
            Private(
                term=t, variable=v, left=_place(bits[t], 2 * v), right=_place(bits[t], 2 * v + 1)
            )
            for v, terms in sorted(touching.items())
            if len(terms) == 1
            for t in terms
        ),
    )


def _place(bits: tuple[int, ...], bit: int) -> int:
    return bits.index(bit) if bit in bits else -1


def summing_order(
    part: Part, limit: int, *, thorough: bool = False, bits_last: bool = False
) -> tuple[tuple[int, ...], int] | None:
    """Return nodes in the order of summing out, with its cells; None if that exceeds `limit`.

    Greedy: always the node with the smallest table next, ties to terms first, then to the order
    that was compiled with the network. Where that is costly and `thorough`, the node that joins
    the fewest strangers next is tried too, and the cheaper of both taken. With `bits_last` every
    term goes before any bit, which costs more, but then nothing negative is added up before its
    term is complete.
    """
    found = _greedy(part, limit, bits_last=bits_last)
    if not thorough or (found is not None and found[1] <= CHEAP):
        return found
    return _fewest_joined(part, limit if found is None else found[1] - 1) or found


def _greedy(part: Part, limit: int, *, bits_last: bool) -> tuple[tuple[int, ...], int] | None:
    """Return the order of smallest tables first."""
    near = list(part.neighbours)
    wide = _wide(part)
    costs = [_cells(near[n] | 1 << n, wide, part.sizes) for n in range(len(near))]
    alive = list(range(len(near)))
    terms = len(part.sizes) - len(part.bits)
    order: list[int] = []
    total = 0
    while alive:
        first = alive[: max(0, terms - len(order))] if bits_last else alive
        node = min(first or alive, key=costs.__getitem__)
        total += costs[node]
        if total > limit:
            return None
        alive.remove(node)
        order.append(node)
        for other in _join_neighbours(near, node):
            costs[other] = _cells(near[other] | 1 << other, wide, part.sizes)
    return tuple(order), total


def _fewest_joined(part: Part, limit: int) -> tuple[tuple[int, ...], int] | None:
    """Return the order of minimum fill-in, ties by the smallest table."""
    near = list(part.neighbours)
    wide = _wide(part)
    alive = list(range(len(near)))
    keys = [(_strangers(near, n), _cells(near[n], wide, part.sizes)) for n in alive]
    order: list[int] = []
    total = 0
    while alive:
        node = min(alive, key=keys.__getitem__)
        total += _cells(near[node] | 1 << node, wide, part.sizes)
        if total > limit:
            return None
        alive.remove(node)
        order.append(node)
        joins = keys[node][0] > 0
        around = changed = near[node]
        for other in _join_neighbours(near, node):
            if joins:
                changed |= near[other]
        for other in _members(changed & ~(1 << node)):
            if joins or around >> other & 1:
                keys[other] = (_strangers(near, other), _cells(near[other], wide, part.sizes))
    return tuple(order), total


def _wide(part: Part) -> int:
    """Return the nodes with more than two values."""
    return sum(1 << n for n, size in enumerate(part.sizes) if size != 2)


def _members(nodes: int) -> list[int]:
    """Return the nodes of a set, ascending."""
    found = []
    while nodes:
        low = nodes & -nodes
        nodes ^= low
        found.append(low.bit_length() - 1)
    return found


def _join_neighbours(near: list[int], node: int) -> list[int]:
    """Join all neighbours of a node to each other, take the node out, and return them."""
    around = near[node]
    found = _members(around)
    for other in found:
        near[other] = (near[other] | around) & ~(1 << other | 1 << node)
    return found


def _strangers(near: list[int], node: int) -> int:
    """Return how many pairs of neighbours are not joined, twice counted."""
    around = near[node]
    return sum((around & ~near[other]).bit_count() - 1 for other in _members(around))


def _cells(nodes: int, wide: int, sizes: tuple[int, ...]) -> int:
    """Return the number of cells of a table over these nodes."""
    cells = 1 << (nodes & ~wide).bit_count()
    rest = nodes & wide
    while rest:
        low = rest & -rest
        rest ^= low
        cells *= sizes[low.bit_length() - 1]
    return cells


def connected(masks: list[int]) -> list[list[int]]:
    """Return the indices grouped so that masks of different groups share no bit.

    Groups are ordered by their first index, indices within a group ascend.
    """
    if len(masks) == 1:
        return [[0]]
    groups: list[tuple[int, list[int]]] = []
    for index, mask in enumerate(masks):
        joined, members, others = mask, [index], []
        for known, indices in groups:
            if known & mask:
                joined |= known
                members = indices + members
            else:
                others.append((known, indices))
        others.append((joined, members))
        groups = others
    return sorted(sorted(indices) for _, indices in groups)
