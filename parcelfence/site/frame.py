"""The local frame: a metric CRS centred on the property, and the ways into and out of it.

The working CRS is a transverse Mercator on the parcels' own datum with scale 1 at a rounded centre, so that a plan
length is a ground length within parts per billion over a property, and no datum shift comes between the parcel
and the design.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from pyproj import CRS
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import TransverseMercatorConversion
from pyproj.transformer import AreaOfInterest, Transformer, TransformerGroup

from parcelfence.antimeridian import NEAR_DEG, TURN_DEG, near_turn
from parcelfence.errors import CrsError, Fault
from parcelfence.site.grids import missing_grids
from parcelfence.site.provenance import DatumOperation
from parcelfence.site.whereabouts import plain_way

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

__all__ = ["WGS84", "Conversion", "LocalFrame", "horizontal"]

WGS84: Final = CRS.from_epsg(4326)
FALSE_ORIGIN_M: Final = 10_000.0
"""Easting and northing of the centre: positive over any property, and plainly not those of a national grid."""
_CENTRE_DECIMALS: Final = 3
_PLACE_DECIMALS: Final = 1
"""Datum operations are chosen for squares of a tenth of a degree: many parcels share them, and all parcels of one
square the same."""
_AREA_MARGIN_DEG: Final = 0.1
_KEPT: Final = 512
"""Systems and operations kept in memory: far more than the files of one job need, for the squares of a county."""


@dataclass(frozen=True, kw_only=True)
class Conversion:
    """One way between two CRSs, with the operation that it uses."""

    operation: DatumOperation
    transformer: Transformer
    about: float | None = None
    """Longitude of the property where it lies by the antimeridian: longitudes come out within half a turn of it."""

    def geometry(self, geometry: BaseGeometry) -> BaseGeometry:
        """Convert a geometry; raises CrsError where a coordinate cannot be converted."""
        return self._checked(shapely.transform(geometry, self.coordinates))

    def geometries(self, geometries: npt.NDArray[np.object_]) -> npt.NDArray[np.object_]:
        """Convert an array of geometries in one go."""
        converted: npt.NDArray[np.object_] = shapely.transform(geometries, self.coordinates)
        return converted

    def coordinates(self, coordinates: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Convert an (n, 2) array of x and y (longitude before latitude)."""
        if not len(coordinates):
            return coordinates
        converted = np.column_stack(self.transformer.transform(coordinates[:, 0], coordinates[:, 1]))
        return converted if self.about is None else near_turn(converted, about=self.about)

    def _checked(self, geometry: BaseGeometry) -> BaseGeometry:
        if not np.isfinite(shapely.get_coordinates(geometry)).all():
            raise CrsError(
                Fault(
                    where=f"conversion from {self.operation.source} to {self.operation.target}",
                    found="coordinates lie where the projection is not defined",
                    must="all coordinates must lie in the area that the CRS is made for",
                    remedy="check the CRS of the file",
                )
            )
        return geometry


@dataclass(frozen=True, kw_only=True)
class LocalFrame:
    """The working CRS of a site.

    Parameters
    ----------
    crs : CRS
        Projected, in metres.
    centre_lon_lat : tuple of float
        Centre of the property on WGS 84, degrees; only used to find the right datum operations.
    scale : float
        Scale at the centre; above 1 where lengths are reduced to ground at an elevation.
    allow_ballpark : bool
        Whether a datum operation of unknown accuracy is accepted.
    base : str
        The geographic CRS on which a local frame stands; empty for a CRS that the person chose.
    """

    crs: CRS
    centre_lon_lat: tuple[float, float]
    scale: float = 1.0
    allow_ballpark: bool = False
    base: str = ""

    @classmethod
    def around(
        cls,
        geometry: BaseGeometry,
        source_crs: CRS,
        *,
        ground_elevation_m: float | None = None,
        allow_ballpark: bool = False,
    ) -> LocalFrame:
        """Make the frame of a property.

        Parameters
        ----------
        geometry : BaseGeometry
            The property in `source_crs`.
        source_crs : CRS
            CRS of the parcels; its datum becomes that of the frame.
        ground_elevation_m : float, optional
            Mean elevation above the ellipsoid; raises the scale so that plan lengths are ground lengths.
        allow_ballpark : bool
            See the class.

        Raises
        ------
        CrsError
            If the CRS has no geographic base, or the coordinates do not fit it.
        """
        base = _geographic_base(source_crs.srs)
        longitude, latitude = _longitude_latitude(geometry, source_crs, base=base)
        centre = round(longitude, _CENTRE_DECIMALS), round(latitude, _CENTRE_DECIMALS)
        scale = 1.0 + (ground_elevation_m or 0.0) / _earth_radius_m(base, latitude=centre[1])
        text = _local_text(base.srs, centre=centre, scale=scale)
        return cls(crs=CRS(text), centre_lon_lat=centre, scale=scale, allow_ballpark=allow_ballpark, base=base.srs)

    @classmethod
    def on(cls, crs: CRS, geometry: BaseGeometry, *, source_crs: CRS, allow_ballpark: bool = False) -> LocalFrame:
        """Make a frame of a projected CRS that the person chose, for a property given in `source_crs`.

        Raises
        ------
        CrsError
            If it is not projected, not in metres, or a Web Mercator, which is no measure of length.
        """
        problem = _unfit_for_work(crs)
        if problem:
            raise CrsError(
                Fault(
                    where=f"working CRS {crs.name}",
                    found=problem,
                    must="the working CRS must be projected, in metres, and true to length",
                    remedy="leave it out to get a local one, and ask for other systems in the outputs instead",
                )
            )
        point = shapely.transform(geometry.centroid, _plain_transform(source_crs, WGS84))
        return cls(crs=crs, centre_lon_lat=(point.x, point.y), allow_ballpark=allow_ballpark)

    def conversion_from(self, source_crs: CRS, *, where: str) -> Conversion:
        """Find the best way from another CRS into this frame.

        Parameters
        ----------
        source_crs : CRS
            CRS of an input.
        where : str
            What to call the input in messages.

        Raises
        ------
        CrsError
            If there is no operation of known accuracy and none of unknown accuracy is allowed.
        """
        return _conversion(source_crs, self.crs, frame=self, where=where)

    def conversion_to(self, target_crs: CRS, *, where: str = "outputs") -> Conversion:
        """Find the best way from this frame into another CRS; raises as :meth:`conversion_from` does."""
        return _conversion(self.crs, target_crs, frame=self, where=where)

    def to_wgs84(self) -> Conversion:
        """Way into longitude and latitude on WGS 84."""
        return self.conversion_to(WGS84)


def horizontal(crs: CRS) -> CRS:
    """Strip a compound or bound CRS to its horizontal part."""
    return _horizontal(crs.srs)


@lru_cache(maxsize=_KEPT)
def _horizontal(text: str) -> CRS:
    crs = CRS(text)
    if crs.is_bound and crs.source_crs is not None:
        return horizontal(crs.source_crs)
    if crs.is_compound:
        return horizontal(crs.sub_crs_list[0])
    return crs.to_2d()


@lru_cache(maxsize=_KEPT)
def _geographic_base(text: str) -> CRS:
    crs = CRS(text)
    base = horizontal(crs).geodetic_crs
    if base is None:
        raise CrsError(
            Fault(
                where=f"CRS {crs.name}",
                found="it is not tied to the earth",
                must="a geographic or projected CRS is needed",
                remedy="give the true CRS with `crs`",
            )
        )
    return base.to_2d()


def _local_text(base: str, *, centre: tuple[float, float], scale: float) -> str:
    """Write the local CRS of a centre as WKT: a thousand times as fast as building it anew from its parts."""
    text = _local_template(base)
    for value, placeholder in zip((*centre, scale), _PLACEHOLDERS, strict=True):
        text = text.replace(str(placeholder), repr(value))
    return text


_PLACEHOLDERS: Final = (17.171717, 18.181818, 1.191919)
"""Longitude, latitude and scale that stand in the template for those of a property."""


@lru_cache(maxsize=_KEPT)
def _local_template(base: str) -> str:
    longitude, latitude, scale = _PLACEHOLDERS
    conversion = TransverseMercatorConversion(
        latitude_natural_origin=latitude,
        longitude_natural_origin=longitude,
        false_easting=FALSE_ORIGIN_M,
        false_northing=FALSE_ORIGIN_M,
        scale_factor_natural_origin=scale,
    )
    geographic = CRS(base)
    crs = ProjectedCRS(conversion=conversion, geodetic_crs=geographic, name=f"Local metres on {geographic.name}")
    return str(crs.to_wkt())


def _longitude_latitude(geometry: BaseGeometry, source_crs: CRS, *, base: CRS) -> tuple[float, float]:
    """Find the middle of a geometry on the globe; what does not come back to where it was is not on it."""
    west, south, east, north = geometry.bounds
    middle = (west + east) / 2, (south + north) / 2
    if source_crs.is_geographic and middle[0] > TURN_DEG / 2:  # of a property across the antimeridian
        middle = middle[0] - TURN_DEG, middle[1]
    way = plain_way(source_crs.srs, base.srs)
    longitude, latitude = way.transform(*middle)
    returned = way.transform(longitude, latitude, direction="INVERSE")
    if not np.allclose(returned, middle, rtol=1e-9, atol=1e-6):
        raise CrsError(
            Fault(
                where="parcels",
                found=f"coordinates near {middle[0]:.6g}, {middle[1]:.6g} are not defined in {source_crs.name}",
                must="they must lie in the area that the CRS is made for",
                remedy="give the true CRS with `crs`",
            )
        )
    return float(longitude), float(latitude)


def _earth_radius_m(base: CRS, *, latitude: float) -> float:
    """Gaussian mean radius sqrt(M N) at a latitude (EPSG Guidance Note 7-2, conformal sphere)."""
    ellipsoid = base.ellipsoid
    if ellipsoid is None:
        return 6_371_000.0
    a, b = ellipsoid.semi_major_metre, ellipsoid.semi_minor_metre
    e2 = 1.0 - (b / a) ** 2
    return float(a * np.sqrt(1.0 - e2) / (1.0 - e2 * np.sin(np.radians(latitude)) ** 2))


def _unfit_for_work(crs: CRS) -> str:
    if not crs.is_projected:
        return "its coordinates are degrees"
    if any(axis.unit_name != "metre" for axis in crs.axis_info):
        return f"its unit is the {crs.axis_info[0].unit_name}"
    method = crs.coordinate_operation.method_name if crs.coordinate_operation else ""
    return "a Web Mercator stretches lengths" if "Pseudo Mercator" in method or "Pseudo-Mercator" in method else ""


def _conversion(source: CRS, target: CRS, *, frame: LocalFrame, where: str) -> Conversion:
    """Find the operation for the square in which the frame lies, and centre its projection on the frame."""
    longitude, latitude = frame.centre_lon_lat
    place = round(longitude, _PLACE_DECIMALS) + 0.0, round(latitude, _PLACE_DECIMALS) + 0.0  # no negative zero
    there, here = _projection(place, scale=1.0), _projection(frame.centre_lon_lat, scale=frame.scale)

    def best(own: str) -> tuple[DatumOperation | None, tuple[str, ...]]:
        texts = [own if crs is frame.crs else horizontal(crs).srs for crs in (source, target)]
        return _operation(*texts, place=place, allow_ballpark=frame.allow_ballpark)

    operation, grids = best(_local_text(frame.base, centre=place, scale=1.0) if frame.base else frame.crs.srs)
    if frame.base and operation is not None and operation.definition.count(there) == 1:
        operation = replace(operation, definition=operation.definition.replace(there, here))
    elif frame.base:
        operation, grids = best(frame.crs.srs)  # from one local system into another
    if operation is None:
        raise CrsError(
            Fault(
                where=where,
                found=f"no operation of known accuracy leads from {source.name} to {target.name}",
                must="the datum operation must have a stated accuracy",
                remedy=(f"install {', '.join(grids)} for PROJ, or " if grids else "")
                + "accept an unknown accuracy with `allow_ballpark`",
            )
        )
    by_the_antimeridian = target.is_geographic and abs(longitude) > TURN_DEG / 2 - NEAR_DEG
    return Conversion(
        operation=operation,
        transformer=Transformer.from_pipeline(operation.definition),
        about=longitude if by_the_antimeridian else None,
    )


def _projection(centre: tuple[float, float], *, scale: float) -> str:
    """Write the projection of a local frame as PROJ does."""
    longitude, latitude = centre
    origin = f"x_0={FALSE_ORIGIN_M:g} y_0={FALSE_ORIGIN_M:g}"
    return f"lat_0={latitude + 0.0:.15g} lon_0={longitude + 0.0:.15g} k={scale:.15g} {origin}"


@lru_cache(maxsize=_KEPT)
def _operation(
    source: str, target: str, *, place: tuple[float, float], allow_ballpark: bool
) -> tuple[DatumOperation | None, tuple[str, ...]]:
    """Give the best usable operation between two systems around a place, and the grids that would allow a better one.

    Accuracies are asked in the axis order of the systems; what is used takes longitude before latitude.
    """
    stated, used = (_group(source, target, place=place, always_xy=always_xy) for always_xy in (False, True))
    usable = [
        number for number, way in enumerate(stated.transformers) if allow_ballpark or _accuracy_m(way) is not None
    ]
    if not usable:
        return None, missing_grids(stated, lon_lat=place)
    best = stated.transformers[usable[0]]
    accuracy_m = _accuracy_m(best)
    grids = missing_grids(stated, lon_lat=place, better_than_m=math.inf if accuracy_m is None else accuracy_m)
    operation = DatumOperation(
        source=CRS(source).name,
        target=CRS(target).name,
        name=best.description,
        definition=used.transformers[usable[0]].definition,
        accuracy_m=accuracy_m,
        ballpark=accuracy_m is None,
        missing_grids=grids,
    )
    return operation, grids


def _group(source: str, target: str, *, place: tuple[float, float], always_xy: bool) -> TransformerGroup:
    longitude, latitude = place
    west, east = (
        _within_half_a_turn(longitude - _AREA_MARGIN_DEG),
        _within_half_a_turn(longitude + _AREA_MARGIN_DEG),
    )
    area = AreaOfInterest(west, latitude - _AREA_MARGIN_DEG, east, latitude + _AREA_MARGIN_DEG)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # a missing grid is reported with its accuracy instead
        return TransformerGroup(source, target, always_xy=always_xy, area_of_interest=area)


def _within_half_a_turn(longitude: float) -> float:
    return longitude - TURN_DEG * round(longitude / TURN_DEG)


def _accuracy_m(way: Transformer) -> float | None:
    """Give the accuracy that PROJ states for an operation in the axis order of its CRSs; None if it states none.

    An operation put into the order of longitude before latitude is a chain with one more step; from PROJ 9.8 on
    such a chain states no accuracy even where it only converts.
    """
    return way.accuracy if way.accuracy >= 0 else None


def _plain_transform(source: CRS, target: CRS) -> Callable[[npt.NDArray[np.float64]], npt.NDArray[np.float64]]:
    transformer = plain_way(source.srs, target.srs)
    return lambda xy: np.column_stack(transformer.transform(xy[:, 0], xy[:, 1]))
