"""What means which status: tables of words, symbols and colours, shipped as TOML and extended by the user's own."""

from exchange.status.words.load import StatusWords

__all__ = ["StatusWords"]
