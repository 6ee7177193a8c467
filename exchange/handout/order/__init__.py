"""In what order spots are handed out: by number, by priority, or as a walk from a start."""

from exchange.handout.order.ordering import ORDERS, Ordering, order_spots

__all__ = ["ORDERS", "Ordering", "order_spots"]
