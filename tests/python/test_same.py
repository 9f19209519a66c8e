"""The package and the command make the same bytes of the same job, and a setting by keyword does what it does in the file."""

import json

import geopandas
import numpy
import pyarrow
import pytest
import rasterio
from geopandas.testing import assert_geodataframe_equal

import haulm

# Sections of the job, each as keywords would change them. Whether a decision can be made of them without reading again is the last entry.
JOBS = [
    ({}, True),
    ({"rate": {"maximum": "50 kg N/ha"}}, True),
    ({"rate": {"minimum": "20 kg N/ha", "step": "5 kg N/ha"}}, True),
    ({"rate": {"usual": None, "thin": "30 kg N/ha", "bare": "10 kg N/ha"}}, True),
    ({"rate": {"maximum_step": "20 kg N/ha"}}, True),
    ({"response": {"nitrogen_share": 0.0}}, True),
    ({"response": {"nitrogen_share": "measured"}}, True),
    ({"response": {"maximum_yield": "6 t/ha", "use_efficiency": 0.6}}, True),
    ({"response": {"yield_curve": {"a": "610 kg/ha"}}}, True),
    ({"reference": {"level": "balanced"}}, True),
    ({"zones": {"by": "classes", "classes": 3}}, True),
    ({"zones": {"minimum_area": "4000 m2", "total": None}}, True),
    ({"product": {"name": "urea"}, "output": {"unit": "kg/ha"}, "machine": {"minimum_rate": None, "maximum_rate": None}}, True),
    ({"prices": {"nitrogen": "1.6 EUR/kg N"}, "record": {"client": None}}, True),
    ({"output": {"formats": ["geojson", "kml", "flatgeobuf"]}}, True),
    ({"accept": [{"code": "image.age", "figure": "4 d", "reason": "cold spell", "by": "A. Adviser"}]}, True),
    ({"machine": {"working_width": "18 m", "cell_length": "12 m"}}, False),
    ({"machine": {"heading": 20.0}}, False),
    ({"reference": {"strips": None, "percentile": 95}}, False),
    ({"field": {"exclude": None, "name": "Öre Länge"}, "imagery": {"bare_below": 0.3}}, False),
]


def shapes(table):
    return pyarrow.table(table)


@pytest.mark.parametrize("number", range(len(JOBS)))
def test_same_bytes_as_the_command(number, demo, job, prepared, haulm_command):
    sections, serves = JOBS[number]
    tried = job.with_(**sections)
    path = demo / f"job_{number}.toml"
    path.write_text(tried.text, encoding="utf-8")
    output = demo / f"out_{number}"
    ran = haulm_command("map", path, "--output", output, "--quiet")
    assert ran.returncode in (0, 1), ran.stderr

    by_file = haulm.Job.open(path).run()
    files = by_file.files()
    written = {str(found.relative_to(output)): found.read_bytes() for found in output.rglob("*") if found.is_file()}
    records = [json.loads(files_of.pop("office/record.json")) for files_of in (files, written)]
    assert sorted(files) == sorted(written) and files
    for name, content in files.items():
        assert content == written[name], name
    for record in records:
        record.pop("made_at")
    assert records[0] == records[1]
    assert by_file.map_id == records[1]["map_id"]
    assert by_file.stopped == (ran.returncode == 1)

    # The same settings by keyword: the same numbers, and what does not stand in the file is said.
    if serves:
        by_keyword = prepared.decide(**sections)
    else:
        with pytest.raises(haulm.Refused) as refused:
            prepared.decide(**sections)
        assert refused.value.code == "decide.prepare"
        by_keyword = tried.run()
    for table in ("zones", "cells", "strips"):
        assert shapes(getattr(by_keyword, table)).equals(shapes(getattr(by_file, table))), table
    assert by_keyword.n_kg == by_file.n_kg and by_keyword.n_kg_range == by_file.n_kg_range
    codes = [finding.code for finding in by_keyword.findings]
    assert "settings.changed" in codes
    codes.remove("settings.changed")
    assert codes == [finding.code for finding in by_file.findings]
    assert by_keyword.record["settings"] == by_file.record["settings"]
    asked = {".".join(path): value for path, value in paths(sections)}
    assert asked.keys() <= {change["key"] for change in by_keyword.record["changed"]}
    assert "changed" not in by_file.record


def paths(sections, above=()):
    for name, value in sections.items():
        if isinstance(value, dict):
            yield from paths(value, (*above, name))
        else:
            yield (*above, name), value


def test_what_is_written_is_what_the_command_writes(demo, haulm_command):
    plain = haulm.Job.open(demo / "job.toml").with_(uncertainty={"draws": 40})
    path = demo / "written.toml"
    path.write_text(plain.text)
    decision = haulm.Job.open(path).run()
    written = decision.write(demo / "by_package")
    assert haulm_command("map", path, "--output", demo / "by_command", "--quiet").returncode == 0
    files = {str(found.relative_to(demo / "by_command")) for found in (demo / "by_command").rglob("*") if found.is_file()}
    assert set(written) == files
    for name in files - {"office/record.json"}:
        assert (demo / "by_package" / name).read_bytes() == (demo / "by_command" / name).read_bytes(), name
    record = json.loads((demo / "by_package/office/record.json").read_text())
    assert record["made_at"] and record["map_id"] == decision.map_id
    # The map of another field stays.
    with pytest.raises(haulm.Refused):
        haulm.Job.open(path).with_(field={"name": "Another"}).run().write(demo / "by_package")
    (demo / "by_package/office/prescription.geojson").write_text("edited by hand")
    with pytest.raises(haulm.Refused):
        decision.write(demo / "by_package")
    decision.write(demo / "by_package", overwrite=True)


def test_tables_are_the_layers_of_the_geopackage(decision, tmp_path):
    files = decision.files()
    path = tmp_path / "map.gpkg"
    path.write_bytes(files["office/prescription.gpkg"])
    for layer in ("zones", "cells", "strips", "field"):
        table = getattr(decision, layer)
        ours = geopandas.GeoDataFrame.from_arrow(table)
        theirs = geopandas.read_file(path, layer=layer)
        assert ours.crs == theirs.crs and ours.crs.to_epsg() == 32633
        assert len(ours) == len(table) and list(ours.columns) == [name for name, _ in table.columns] + ["geometry"]
        assert list(ours.geometry.to_wkb()) == list(theirs.geometry.to_wkb()), layer
        for column in ours.columns.drop("geometry"):
            assert ours[column].isna().equals(theirs[column].isna()), (layer, column)
            assert list(ours[column].dropna()) == list(theirs[column].dropna()), (layer, column)
        assert_geodataframe_equal(ours, theirs, check_dtype=False)
        assert all(about for _, about in table.columns)


def test_arrow_says_what_it_holds(decision):
    schema = pyarrow.schema(decision.cells)
    assert schema.field("n_kg_ha").metadata[b"description"].endswith(b"[kg N/ha]")
    assert schema.field("geometry").metadata[b"ARROW:extension:name"] == b"geoarrow.wkb"
    crs = json.loads(schema.field("geometry").metadata[b"ARROW:extension:metadata"])["crs"]
    assert crs["id"] == {"authority": "EPSG", "code": 32633}
    assert pyarrow.table(decision.cells).schema.equals(schema)


def test_rasters_are_arrays(decision, prepared, tmp_path):
    path = tmp_path / "nitrogen.tif"
    path.write_bytes(decision.files()["office/nitrogen.tif"])
    with rasterio.open(path) as file:
        band = file.read(1)
        nodata, transform, system = file.nodata, file.transform, file.crs
    ours = decision.nitrogen
    values = numpy.asarray(ours)
    assert values.dtype == numpy.float32 and values.shape == ours.shape == band.shape
    assert numpy.array_equal(numpy.where(numpy.isnan(values), numpy.float32(nodata), values), band)
    assert tuple(ours.transform) == transform.to_gdal() and ours.unit == "kg N/ha"
    assert rasterio.crs.CRS.from_string(ours.crs) == system
    assert not ours.values.flags.writeable
    index = prepared.index.values
    assert index.dtype == numpy.float64 and numpy.nanmax(index) < 1.0 and numpy.isnan(index).any()
    assert max(index.shape) <= 480


def test_draws_move_no_rate(prepared, decision):
    quick = prepared.decide(draws=False)
    assert quick.n_kg_range is None and decision.n_kg_range is not None
    assert quick.n_kg == decision.n_kg
    rates = [pyarrow.table(table.cells).column("n_kg_ha") for table in (quick, decision)]
    assert rates[0].equals(rates[1])
    assert quick.files() == decision.files()
