#!/usr/bin/env python3
"""Every way that is known by which an input leads a geodata library to a server or to another file, tried on haulm under strace.

ways.py HAULM [WAY...]: each way is a copy of one good field with the trick in it. Held are: no call leaves the process, no file outside the job's folder is
opened but the system's and those of GDAL and PROJ, and the outcome is a clear refusal or the very map of the same field without the trick. Ends with
"N passed, N failed".
"""

import concurrent.futures
import os
import pathlib
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import zipfile

import field as made_field
from osgeo import gdal, ogr

HAULM = os.path.abspath(sys.argv[1])
# What the system and the libraries may read.
SYSTEM = ("/usr/", "/lib/", "/lib64/", "/etc/ld.so", "/etc/localtime", "/proc/self/", "/proc/meminfo", "/proc/cpuinfo", "/sys/", "/dev/")
WAYS = {}


def way(name):
    def keep(function):
        WAYS[name] = function
        return function

    return keep


class Place:
    """A good field, a bait outside it, and the address of a listener that nobody may call."""

    def __init__(self, root, good, bait, address):
        self.root, self.bait, self.address = root, bait, address
        self.home = root / "job"
        shutil.copytree(good, self.home)
        self.arguments = ["map", str(self.home / "job.toml"), "--quiet"]
        self.variables = {}

    def at(self, name):
        return self.home / name

    def job(self, old, new):
        text = self.at("job.toml").read_text()
        assert old in text, old
        self.at("job.toml").write_text(text.replace(old, new, 1))

    def member(self, text, file="boundary.geojson"):
        whole = self.at(file).read_text()
        self.at(file).write_text(whole.replace('"features":', text + ',"features":', 1))

    def vrt(self, source, extra="", head="", name="image.vrt", attributes=""):
        bands = "".join(
            f'<VRTRasterBand dataType="Float32" band="{k}"{attributes}><Description>{word}</Description><SimpleSource>{source}<SourceBand>{k}</SourceBand></SimpleSource></VRTRasterBand>'
            for k, word in ((1, "red"), (2, "nir"))
        )
        transform = ",".join(str(v) for v in made_field.TRANSFORM)
        self.at(name).write_text(
            f'<VRTDataset rasterXSize="{made_field.COLS}" rasterYSize="{made_field.ROWS}">{head}<SRS>EPSG:32633</SRS><GeoTransform>{transform}</GeoTransform>{bands}{extra}</VRTDataset>'
        )
        self.job('"image.tif"', f'"{name}"')


def crs(kind, key, value):
    return f'"crs":{{"type":"{kind}","properties":{{"{key}":"{value}"}}}}'


SERVICE = '<GDAL_WMS><Service name="TMS"><ServerUrl>{address}/${{z}}/${{x}}/${{y}}.png</ServerUrl></Service><DataWindow><UpperLeftX>0</UpperLeftX><UpperLeftY>10</UpperLeftY><LowerRightX>10</LowerRightX><LowerRightY>0</LowerRightY><SizeX>144</SizeX><SizeY>168</SizeY></DataWindow><BandsCount>2</BandsCount></GDAL_WMS>'
OWN = '<SourceFilename relativeToVRT="1">image.tif</SourceFilename>'

# Reference systems of layers and keys.
for kind, key, value in (
    ("link", "href", "{address}/a.wkt"),
    ("LINK", "HREF", "{address}/a.wkt"),
    ("url", "url", "{address}/a.wkt"),
    ("name", "name", "{address}/a.wkt"),
    ("name", "name", "/vsicurl/{address}/a.wkt"),
    ("name", "name", "{bait}/system.prj"),
    ("name", "name", "+proj=utm +zone=33 +nadgrids={address}/a.gsb"),
    ("name", "name", "+init={bait}/system.prj:1"),
    ("name", "name", "urn:ogc:def:crs,crs:EPSG::32633,cs:{bait}/system.prj"),
):
    @way(f"crs of a layer: {kind} {value}")
    def _(place, kind=kind, key=key, value=value):
        place.member(crs(kind, key, value.format(address=place.address, bait=place.bait)))

for value in ("{address}/a.wkt", "{bait}/system.prj", "/vsicurl/{address}/a.wkt", "ESRI::{bait}/system.prj", "+init={bait}/system.prj:1"):
    @way(f"field.crs = {value}")
    def _(place, value=value):
        place.job("[imagery]", f'crs = "{value.format(address=place.address, bait=place.bait)}"\n\n[imagery]')


@way("check --boundary with a crs by link")
def _(place):
    place.member(crs("link", "href", f"{place.address}/a.wkt"))
    place.arguments = ["check", str(place.at("strips.geojson")), "--boundary", str(place.at("boundary.geojson")), "--quiet"]


@way("points.crs by address")
def _(place):
    place.at("points.csv").write_text("x,y,ndvi\n" + "".join(f"{560000 + 6 * a},{5560000 + 6 * b},{made_field.ndvi(6 * a, 6 * b)}\n" for a in range(40) for b in range(48)))
    place.job('path = "image.tif"', f'points = {{ path = "points.csv", crs = "{place.address}/a.wkt", value = "ndvi" }}')


# Images and what lies beside them.
def tagged(place, domain, items):
    opened = gdal.Open(str(place.at("image.tif")), gdal.GA_Update)
    opened.SetMetadata(items, domain)
    opened = None
    for left in place.home.glob("image.tif.aux.xml"):
        left.unlink()


for target in ("{address}/a.tif", "/vsicurl/{address}/a.tif", "{bait}/image.tif", "WMS:{address}/x"):
    @way(f"tags name a file of reduced copies: {target}")
    def _(place, target=target):
        tagged(place, "OVERVIEWS", {"OVERVIEW_FILE": target.format(address=place.address, bait=place.bait)})

    @way(f".tif.aux.xml names a file of reduced copies: {target}")
    def _(place, target=target):
        named = target.format(address=place.address, bait=place.bait)
        place.at("image.tif.aux.xml").write_text(f'<PAMDataset><Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">{named}</MDI></Metadata></PAMDataset>')


@way(".tif.aux.xml with geolocation arrays elsewhere")
def _(place):
    place.at("image.tif.aux.xml").write_text(f'<PAMDataset><Metadata domain="GEOLOCATION"><MDI key="X_DATASET">{place.bait}/image.tif</MDI></Metadata></PAMDataset>')


@way(".tif.aux.xml with a system by address")
def _(place):
    place.at("image.tif.aux.xml").write_text(f"<PAMDataset><SRS>{place.address}/a.wkt</SRS></PAMDataset>")


for suffix in (".ovr", ".msk"):
    @way(f"a virtual raster as .tif{suffix}")
    def _(place, suffix=suffix):
        place.vrt(f'<SourceFilename relativeToVRT="0">{place.bait}/image.tif</SourceFilename>', name=f"image.tif{suffix}")
        place.job(f'"image.tif{suffix}"', '"image.tif"')

    @way(f"a service as .tif{suffix}")
    def _(place, suffix=suffix):
        place.at(f"image.tif{suffix}").write_text(SERVICE.format(address=place.address))


for form in (
    "<sourcefilename>{to}</sourcefilename>",
    "<SourceFilename relativeToVRT='0'>{to}</SourceFilename>",
    "<SourceFilename><![CDATA[{to}]]></SourceFilename>",
    "<SourceFilename>{entity}</SourceFilename>",
    "<SourceFilename relativeToVRT='1'>../../bait/image.tif</SourceFilename>",
    "<SourceFilename relativeToVRT='1'>link.tif</SourceFilename>",
    "<SourceFilename>GTIFF_DIR:1:{to}</SourceFilename>",
    "<SourceFilename>vrt://{to}</SourceFilename>",
    "<SourceFilename>/vsizip/{bait}/image.zip/image.tif</SourceFilename>",
    "<SourceFilename>/vsisubfile/0_100000,{to}</SourceFilename>",
    "<SourceFilename>/vsisparse/{bait}/sparse.xml</SourceFilename>",
    "<SourceFilename>/vsicurl/{address}/a.tif</SourceFilename>",
    "<SourceFilename>{address}/a.tif</SourceFilename>",
    "<SourceFilename>WCS:{address}/a</SourceFilename>",
    "<SourceFilename relativeToVRT='1'>inner.vrt</SourceFilename>",
    "<SourceFilename relativeToVRT='1'>service.xml</SourceFilename>",
    "<SourceFilename relativeToVRT='1'>raw.img</SourceFilename>",
    "<SourceFilename relativeToVRT='1'>sparse.xml</SourceFilename>",
):
    @way(f"a virtual raster: {form}")
    def _(place, form=form):
        to = f"{place.bait}/image.tif"
        place.at("link.tif").symlink_to(to)
        place.at("service.xml").write_text(SERVICE.format(address=place.address))
        place.at("sparse.xml").write_text(f"<VSISparseFile><SubfileRegion><Filename>{to}</Filename><DestinationOffset>0</DestinationOffset><SourceOffset>0</SourceOffset><RegionLength>90000</RegionLength></SubfileRegion></VSISparseFile>")
        place.vrt(f"<SourceFilename>{to}</SourceFilename>", name="inner.vrt")
        place.job('"inner.vrt"', '"image.tif"')
        raw = SERVICE.format(address=place.address).encode()
        place.at("raw.img").write_bytes(raw.ljust(made_field.COLS * made_field.ROWS * 8))
        place.at("raw.hdr").write_text(f"ENVI\nsamples = {made_field.COLS}\nlines = {made_field.ROWS}\nbands = 2\nheader offset = 0\ndata type = 4\ninterleave = bsq\nbyte order = 0\n")
        place.vrt(form.format(to=to, bait=place.bait, address=place.address, entity="&#47;" + to[1:]))


@way("a virtual raster: the source as an attribute of the element above")
def _(place):
    place.vrt("@")
    text = place.at("image.vrt").read_text()
    place.at("image.vrt").write_text(text.replace("<SimpleSource>@", f'<SimpleSource SourceFilename="{place.bait}/image.tif">'))


for what, extra in (
    ("heights of a warp", "<GDALWarpOptions><Transformer><RPCTransformer><DEMPath>{bait}/image.tif</DEMPath></RPCTransformer></Transformer></GDALWarpOptions>"),
    ("heights by an option", "<GDALWarpOptions><Option name='RPC_DEM'>{bait}/image.tif</Option></GDALWarpOptions>"),
    ("a shift of heights", "<GDALWarpOptions><VerticalShiftGrids><Grids>{bait}/image.tif</Grids></VerticalShiftGrids></GDALWarpOptions>"),
    ("reduced copies", "<Metadata domain='OVERVIEWS'><MDI key='OVERVIEW_FILE'>{bait}/image.tif</MDI></Metadata>"),
    ("a mask elsewhere", "<MaskBand><VRTRasterBand dataType='Byte'><SimpleSource><SourceFilename>{bait}/image.tif</SourceFilename></SimpleSource></VRTRasterBand></MaskBand>"),
    ("a program of a pixel function", "<VRTRasterBand dataType='Float32' band='3' subClass='VRTDerivedRasterBand'><PixelFunctionLanguage>Python</PixelFunctionLanguage><PixelFunctionCode>import os</PixelFunctionCode></VRTRasterBand>"),
    ("options of opening", "<OpenOptions><OOI key='GEOREF_SOURCES'>TABFILE</OOI></OpenOptions>"),
    ("a group of arrays", "<Group name='/'><Array name='a'><Source><SourceFilename>{bait}/image.tif</SourceFilename></Source></Array></Group>"),
):
    @way(f"a virtual raster with {what}")
    def _(place, extra=extra):
        place.vrt(OWN, extra=extra.format(bait=place.bait, address=place.address))


@way("a virtual raster with an outer entity")
def _(place):
    place.vrt("<SourceFilename relativeToVRT='0'>&there;</SourceFilename>")
    text = place.at("image.vrt").read_text()
    place.at("image.vrt").write_text(f'<!DOCTYPE a [<!ENTITY there SYSTEM "file://{place.bait}/name.txt">]>' + text)


@way("a virtual raster with a system in a file")
def _(place):
    place.vrt(OWN)
    text = place.at("image.vrt").read_text()
    place.at("image.vrt").write_text(text.replace("EPSG:32633", f"{place.bait}/system.prj"))


@way("a raw header (.ers) that names another file")
def _(place):
    place.at("image.ers").write_text(f'DatasetHeader Begin\n\tVersion = "6.0"\n\tDataFile = "{place.bait}/image.tif"\n\tDataSetType = Translated\n\tDataType = Raster\n\tRasterInfo Begin\n\t\tCellType = IEEE4ByteReal\n\t\tNrOfLines = {made_field.ROWS}\n\t\tNrOfCellsPerLine = {made_field.COLS}\n\t\tNrOfBands = 2\n\tRasterInfo End\nDatasetHeader End\n')
    place.job('"image.tif"', '"image.ers"')


@way("a raw header (.ers) by its bare name")
def _(place):
    place.at("image.ers").write_text(f'DatasetHeader Begin\n\tVersion = "6.0"\n\tDataFile = "/vsicurl/{place.address}/a"\n\tDataSetType = ERStorage\n\tDataType = Raster\nDatasetHeader End\n')
    place.job('"image.tif"', '"image.ers"')


@way("a table (.tab) beside the image")
def _(place):
    place.at("image.tab").write_text(f'!table\n!version 300\nDefinition Table\n  File "{place.bait}/image.tif"\n  Type "RASTER"\n')


for kind, text in (
    ("a view", '!table\n!version 100\nOpen Table "{bait}/zones.tab" Hide\nCreate View a As\nSelect * From zones\n'),
    ("pieces", '!table\n!version 300\n!charset WindowsLatin1\nDefinition Table\n  Type NATIVE Charset "WindowsLatin1"\n  Fields 1\n    Table Char (100) ;\nbegin_metadata\n"\\IsSeamless" = "TRUE"\nend_metadata\n'),
    ("a server", '!table\n!version 500\nDefinition Table\n  Type LINKED\n  Server "{address}"\n'),
):
    @way(f"a boundary as a table (.tab): {kind}")
    def _(place, text=text):
        place.at("boundary.tab").write_text(text.format(bait=place.bait, address=place.address))
        place.job('"boundary.geojson"', '"boundary.tab"')


GML = '<?xml version="1.0"?>{head}<a:FeatureCollection xmlns:a="http://host.invalid/a" xmlns:gml="http://www.opengis.net/gml" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" xmlns:xlink="http://www.w3.org/1999/xlink" {place}><gml:featureMember><a:b><a:g><gml:Polygon srsName="{system}"{link}><gml:outerBoundaryIs><gml:LinearRing><gml:coordinates>{ring}</gml:coordinates></gml:LinearRing></gml:outerBoundaryIs></gml:Polygon></a:g></a:b></gml:featureMember></a:FeatureCollection>'


def markup(place, head="", where="", system="EPSG:4326", link=""):
    places = re.findall(r"\[([-\d.]+),([-\d.]+)\]", made_field.polygon(0, 0, 240, 288))
    ring = " ".join(f"{x},{y}" for x, y in places)
    place.at("boundary.gml").write_text(GML.format(head=head, place=where, system=system, link=link, ring=ring))
    place.job('"boundary.geojson"', '"boundary.gml"')


@way("markup (.gml) with a schema at an address")
def _(place):
    markup(place, where=f'xsi:schemaLocation="http://host.invalid/a {place.address}/a.xsd"')


@way("markup (.gml) with a schema in a file")
def _(place):
    markup(place, where=f'xsi:schemaLocation="http://host.invalid/a {place.bait}/a.xsd"')


@way("markup (.gml) with a link to a geometry")
def _(place):
    markup(place, link=f' xlink:href="{place.address}/a.gml"')


@way("markup (.gml) with an outer entity")
def _(place):
    markup(place, head=f'<!DOCTYPE a [<!ENTITY there SYSTEM "file://{place.bait}/name.txt">]>')


@way("markup (.gml) with a system in a file")
def _(place):
    markup(place, system=f"{place.bait}/system.prj")


@way("markup (.gml) with classes (.gfs) that hold more")
def _(place):
    markup(place)
    place.at("boundary.gfs").write_text(f"<GMLFeatureClassList><GMLFeatureClass><Name>b</Name><ElementPath>b</ElementPath><SRSName>{place.address}/a.wkt</SRSName></GMLFeatureClass></GMLFeatureClassList>")


@way("KML with a link to another file")
def _(place):
    places = re.findall(r"\[([-\d.]+),([-\d.]+)\]", made_field.polygon(0, 0, 240, 288))
    ring = " ".join(f"{x},{y}" for x, y in places)
    place.at("boundary.kml").write_text(
        f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Style id="a"><IconStyle><Icon><href>{place.address}/a.png</href></Icon></IconStyle></Style><NetworkLink><Link><href>{place.address}/a.kml</href></Link></NetworkLink><Placemark><styleUrl>{place.address}/s.kml#a</styleUrl><Polygon><outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Document></kml>'
    )
    place.job('"boundary.geojson"', '"boundary.kml"')


@way("a database whose view attaches another")
def _(place):
    drawn = ogr.GetDriverByName("GPKG").CreateDataSource(str(place.at("boundary.gpkg")))
    layer = drawn.CreateLayer("field", made_field.system(4326), ogr.wkbPolygon)
    feature = ogr.Feature(layer.GetLayerDefn())
    feature.SetGeometry(ogr.CreateGeometryFromJson('{"type":"Polygon","coordinates":[[' + made_field.ring(0, 0, 240, 288) + "]]}"))
    layer.CreateFeature(feature)
    drawn.ExecuteSQL(f"CREATE TRIGGER t AFTER INSERT ON field BEGIN SELECT load_extension('{place.bait}/a.so'); END")
    drawn = layer = feature = None
    place.job('"boundary.geojson"', '"boundary.gpkg"')


@way("a shapefile whose .prj is an address")
def _(place):
    gdal.VectorTranslate(str(place.at("boundary.shp")), str(place.at("boundary.geojson")), format="ESRI Shapefile")
    place.at("boundary.prj").write_text(f"{place.address}/a.wkt")
    place.job('"boundary.geojson"', '"boundary.shp"')


@way("a shapefile whose code page is a path")
def _(place):
    gdal.VectorTranslate(str(place.at("boundary.shp")), str(place.at("boundary.geojson")), format="ESRI Shapefile")
    place.at("boundary.cpg").write_text(f"{place.bait}/name.txt")
    place.job('"boundary.geojson"', '"boundary.shp"')


for path in ("/vsicurl/{address}/a.tif", "{address}/a.tif", "/vsizip//vsicurl/{address}/a.zip/a.tif", "/vsis3/bucket/a.tif", "/vsisparse/{bait}/sparse.xml", "/vsisubfile/0_90000,{bait}/image.tif", "WMS:{address}", "GTIFF_DIR:1:{bait}/image.tif", "GTIFF_RAW:{bait}/image.tif", "vrt://{bait}/image.tif", "GPKG:{bait}/a.gpkg:x", "JP2OpenJPEG:{address}", "<VRTDataset/>"):
    @way(f"imagery.path = {path}")
    def _(place, path=path):
        place.job('"image.tif"', f'"{path.format(address=place.address, bait=place.bait)}"')


@way("an archive that climbs out")
def _(place):
    with zipfile.ZipFile(place.at("image.zip"), "w") as archive:
        archive.write(place.at("image.tif"), "../../bait/image.tif")
    place.job('"image.tif"', '"image.zip"')


@way("a virtual raster in an archive")
def _(place):
    place.vrt(f"<SourceFilename>{place.bait}/image.tif</SourceFilename>")
    with zipfile.ZipFile(place.at("packed.zip"), "w") as archive:
        archive.write(place.at("image.vrt"), "image.tif")
    place.job('"image.vrt"', '"packed.zip"')


@way("PROJ_NETWORK=ON and a field on an old datum")
def _(place):
    place.variables = {"PROJ_NETWORK": "ON", "PROJ_NETWORK_ENDPOINT": place.address}


@way("variables that open the network of GDAL")
def _(place):
    place.variables = {"GDAL_DRIVER_PATH": str(place.bait), "CPL_VSIL_CURL_ALLOWED_FILENAME": "", "GDAL_HTTP_PROXY": place.address, "http_proxy": place.address, "GDAL_VRT_ENABLE_PYTHON": "YES"}


@way("settings of GDAL in the home folder")
def _(place):
    home = place.root / "home"
    (home / ".gdal").mkdir(parents=True)
    (home / ".gdal/gdalrc").write_text("[configoptions]\nGTIFF_POINT_GEO_IGNORE=TRUE\nGTIFF_IGNORE_READ_ERRORS=YES\nGDAL_GEOREF_SOURCES=NONE\nGDAL_SKIP=GTiff\n")
    place.variables = {"HOME": str(home)}


@way("settings and grids of PROJ in the home folder")
def _(place):
    data = place.root / "home/.local/share/proj"
    data.mkdir(parents=True)
    (data / "proj.ini").write_text(f"[general]\nnetwork = on\ncdn_endpoint = {place.address}\n")
    (data / "proj.db").write_bytes(b"no database")
    place.variables = {"HOME": str(place.root / "home")}


@way("weather that is a link to a file elsewhere is read, for the job names it; the file beside the bait is not")
def _(place):
    place.at("weather.csv").symlink_to(place.bait / "weather.csv")
    place.job("growing_days = 100", 'weather = "weather.csv"')


@way("task data whose grid lies elsewhere")
def _(place):
    folder = place.at("TASKDATA")
    folder.mkdir()
    (folder / "TASKDATA.XML").write_text(f'<?xml version="1.0"?><ISO11783_TaskData VersionMajor="4" VersionMinor="3" DataTransferOrigin="1"><XFR A="{place.bait}/PFD00000"/><TSK A="TSK1" G="1"><GRD A="50" B="15" C="0.001" D="0.001" E="2" F="2" G="../../bait/name" I="1" J="1"/></TSK></ISO11783_TaskData>')
    place.arguments = ["check", str(folder), "--quiet"]


@way("a map to be converted with a crs by link")
def _(place):
    place.member(crs("link", "href", f"{place.address}/a.wkt"), "strips.geojson")
    place.arguments = ["convert", str(place.at("strips.geojson")), "--to", "kml", "--output", str(place.at("a.kml")), "--quiet"]


@way("a first job of an image with a service beside it")
def _(place):
    place.at("image.tif.ovr").write_text(SERVICE.format(address=place.address))
    place.arguments = ["new", str(place.at("boundary.geojson")), str(place.at("image.tif")), "--output", str(place.at("new.toml")), "--quiet"]


OPENED = re.compile(r'^\d+ +(?:open|openat|openat2|creat)\((?:AT_FDCWD, |\d+(?:<[^>]*>)?, )?"((?:[^"\\]|\\.)*)".* = (-?\d+)')
CALLED = re.compile(r"^\d+ +(connect|bind|sendto|sendmsg)\(.*AF_INET")
SOCKET = re.compile(r"^\d+ +socket\(AF_(INET6?|NETLINK|PACKET).* = (\d+)")


def calls(log):
    """A trace in which calls that another thread's call fell into are whole again, where they ended."""
    begun, whole = {}, []
    for line in log.read_text(errors="replace").splitlines():
        process = line.split(" ", 1)[0]
        if line.endswith(" <unfinished ...>"):
            begun[process] = line.removesuffix(" <unfinished ...>")
            continue
        ended = re.match(r"^\d+ +<\.\.\. \w+ resumed>(.*)", line)
        whole.append(begun.pop(process) + ended[1] if ended and process in begun else line)
    return "\n".join([*whole, *begun.values()])


def broken(place, trace, working):
    """What the trace shows that may not be."""
    found = []
    walled = False
    for line in trace.splitlines():
        walled = walled or "landlock_restrict_self(" in line
        if CALLED.match(line) or SOCKET.match(line):
            found.append(line)
        opened = OPENED.match(line)
        if not opened or int(opened[2]) < 0:
            continue
        path = os.path.normpath(os.path.join(working, opened[1].encode().decode("unicode_escape")))
        inside = any(path == str(root) or path.startswith(f"{root}/") for root in (place.home, place.root / "temporary"))
        # Folders are listed for the names beside an input; nothing is read by that.
        folder = "O_DIRECTORY" in line or "O_PATH" in line
        if not (inside or folder or path.startswith(SYSTEM) or path == HAULM):
            found.append(line)
        # PROJ's settings choose formulas and servers; haulm itself looks at them before, to close a network that they open.
        if walled and path.endswith("/proj.ini"):
            found.append(line)
    return found


def rates(place):
    """The rates that a machine would read, and the pixels behind the map."""
    out = place.at("out")
    files = [out / "machine/TASKDATA/GRD00000.bin", out / "office/nitrogen.tif"]
    if not files[0].exists():
        return None
    tif = gdal.Open(str(files[1]))
    return files[0].read_bytes(), tif.ReadRaster()


def tried(name, good, bait, address, root):
    place = Place(root, good, bait, address)
    WAYS[name](place)
    temporary = place.root / "temporary"
    temporary.mkdir()
    log = place.root / "trace"
    environment = {"PATH": os.environ["PATH"], "HOME": str(place.root), "TMPDIR": str(temporary), **place.variables}
    command = ["strace", "-f", "-qq", "-s", "400", "-e", "trace=network,open,openat,openat2,creat,landlock_restrict_self", "-o", str(log), HAULM, *place.arguments]
    done = subprocess.run(command, capture_output=True, text=True, env=environment, cwd=place.home, timeout=120)
    trace = calls(log)
    return place, done, broken(place, trace, str(place.home)), rates(place)


def bait_of(bait):
    """What lies outside: an image of another index, which the map would show were it read, and files that the tricks name."""
    made_field.ndvi, kept = (lambda x, y: 0.3 + kept(x, y) / 2), made_field.ndvi
    made_field.image(bait / "image.tif")
    made_field.ndvi = kept
    (bait / "system.prj").write_text(made_field.system().ExportToWkt())
    (bait / "name.txt").write_text("image.tif")
    (bait / "sparse.xml").write_text("<VSISparseFile/>")
    with zipfile.ZipFile(bait / "image.zip", "w") as archive:
        archive.write(bait / "image.tif", "image.tif")


def main():
    wanted = sys.argv[2:] or list(WAYS)
    passed = failed = 0
    with tempfile.TemporaryDirectory(prefix="haulm-ways-") as scratch:
        scratch = pathlib.Path(scratch)
        good = made_field.make(scratch / "good")
        bait = made_field.make(scratch / "bait")
        bait_of(bait)
        listener = socket.create_server(("127.0.0.1", 0))
        listener.setblocking(False)
        address = "http://127.0.0.1:{}".format(listener.getsockname()[1])
        WAYS["(the good field)"] = lambda place: None
        _, done, wrong, plain = tried("(the good field)", good, bait, address, scratch / "plain")
        if done.returncode or wrong or plain is None:
            print("failed: the good field itself", done.stderr, *wrong, sep="\n")
            print("0 passed, 1 failed")
            return 1
        with concurrent.futures.ThreadPoolExecutor(max_workers=2) as pool:
            all_tried = {name: pool.submit(tried, name, good, bait, address, scratch / str(k)) for k, name in enumerate(wanted)}
        for name, job in all_tried.items():
            place, done, wrong, found = job.result()
            if done.returncode not in (0, 1):
                wrong.append(f"exit {done.returncode}: {done.stderr}")
            if done.returncode == 1 and not re.search(r"(error|stopped)\[", done.stderr):
                wrong.append(f"refused without a word: {done.stderr}")
            if done.returncode == 0 and place.arguments[0] == "map" and found != plain:
                wrong.append("another map than without the trick")
            try:
                wrong.append(f"called: {listener.accept()}")
            except BlockingIOError:
                pass
            if wrong:
                failed += 1
                print(f"failed: {name}", *wrong[:6], sep="\n    ")
            else:
                passed += 1
                said = re.search(r"(error|stopped)\[[^]]*\][^\n]*", done.stderr)
                print(f"ok: {name}: {said[0] if said else 'the same map' if place.arguments[0] == 'map' else 'done'}")
    # Where the kernel knows no such walls, the map is made all the same, with one note.
    with tempfile.TemporaryDirectory(prefix="haulm-ways-") as scratch:
        place = made_field.make(pathlib.Path(scratch) / "job")
        without = ["strace", "-qq", "-o", "/dev/null", "-e", "inject=landlock_create_ruleset:error=ENOSYS", HAULM, "map", str(place / "job.toml"), "--json", "--quiet"]
        done = subprocess.run(without, capture_output=True, text=True)
        if done.returncode == 0 and done.stdout.count('"rights.kept"') == 1:
            passed += 1
        else:
            failed += 1
            print("failed: a kernel without walls", done.returncode, done.stdout, done.stderr, sep="\n")
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
