"""The vocabulary: frozen values in the words of the trade, with units, frames and doubt."""
