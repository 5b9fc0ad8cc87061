"""The order of a value's bytes as letters, as manuals print it."""

from protocols.register_map.model import Order


def letters(words: int, word_order: Order, byte_order: Order) -> str:
    """The bytes of so many 16-bit words as they arrive, A the most significant: `ABCD`, `CDAB`, `BA`."""
    pairs = [chr(65 + 2 * i) + chr(66 + 2 * i) for i in range(words)]
    if word_order is Order.LOW_FIRST:
        pairs.reverse()
    return "".join(pair[::-1] if byte_order is Order.LOW_FIRST else pair for pair in pairs)
