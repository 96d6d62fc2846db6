"""The catalogue of protocols: one TOML file each, read strictly, with an edition."""

from scheduling.kernel.catalogue.adjust import adjusted
from scheduling.kernel.catalogue.load import Catalogue, CatalogueError, load_catalogue, parse_protocol, parse_sources

__all__ = ["Catalogue", "CatalogueError", "adjusted", "load_catalogue", "parse_protocol", "parse_sources"]
