"""What the page hands to the browser's XML parser, against expat: never a text that a parser refuses."""

import json
import shutil
import subprocess
from pathlib import Path
from xml.parsers.expat import ExpatError, ParserCreate

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lakemap.publish.html_map.page import text_of

pytestmark = pytest.mark.skipif(shutil.which("node") is None, reason="node is not installed")

GPX = """<?xml version="1.0" encoding="UTF-8"?>
<!-- a plan -->
<gpx version="1.1" creator='x' xmlns="http://www.topografix.com/GPX/1/1" xmlns:b="urn:b">
 <metadata><desc>5 &lt; 6 &amp; so &#176; on</desc></metadata>
 <rte><name><![CDATA[a <b> & c]]></name><rtept lat="1.5" lon="-2"/><rtept lat="1.6" lon="-2"><b:c d="e"/></rtept></rte>
</gpx>
"""
REFUSED = (
    "", "lat,lon\n1,2\n", "no <b", "<gpx>", "<a><b></a></b>", "<a/><b/>", "<a>&nbsp;</a>", "<a b=c/>",
    "<a b='1' b='2'/>", "<a:b/>", "<a>&#0;</a>", "<a>&#xd800;</a>", "<a>]]></a>", "<a/><!-- -- -->",
    " <?xml version='1.0'?><a/>",
    "text <a/>", "<a/> text", "<!DOCTYPE a><a/>", GPX[: len(GPX) // 2], "<a>\x01</a>", "<a>5 & 6</a>", "PK\x03\x04",
    "<a b='<'/>", "<!DOCTYPE html><html><body style='color: red'><p>no</body></html>", "<?a " * 2_000_000)


def taken(texts):
    "What the module says of each text, by node."
    script = (f"{text_of('markup.js')}\nlet said = ''; process.stdin.on('data', (part) => {{ said += part; }}); "
              "process.stdin.on('end', () => console.log(JSON.stringify(JSON.parse(said).map(Markup.wellFormed))));")
    done = subprocess.run(["node", "-e", script], input=json.dumps(texts), capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


def parses(text):
    "Whether expat takes it, namespaces and all."
    try:
        ParserCreate("utf-8", namespace_separator="|").Parse(text.encode("utf-8", "replace"), True)
    except ExpatError:
        return False
    return True


def test_plans_are_taken_and_what_is_no_xml_is_not():
    "Also what the project writes itself, with a mark of byte order before it, or with lines as Windows ends them."
    demo = Path(__file__).parents[3] / "demo_tracks"
    files = [path.read_text("utf-8") for path in sorted(demo.glob("*.gpx"))]
    good = [GPX, GPX.replace("\n", "\r\n"), "\ufeff" + GPX, *files]
    assert files and taken(good) == [True] * len(good)
    assert taken(REFUSED) == [False] * len(REFUSED)


PIECES = st.sampled_from([*'<>/&;"=! \n', "a", "<a>", "</a>", "<!--", "-->", "]]>", "<![CDATA[", "<?x?>", "&lt;", "b:c",
                          "x='1'", "&#5;", "--", "<b:c/>", ""])
CHANGES = st.lists(st.tuples(st.integers(0, len(GPX)), st.integers(0, 12), PIECES), min_size=1, max_size=3)


@settings(max_examples=30, deadline=None)
@given(st.lists(CHANGES, min_size=40, max_size=40))
def test_no_parser_refuses_what_is_taken(many):
    "Plans with up to three bites and bits put in: what the page takes expat takes too."
    texts = []
    for changes in many:
        text = GPX
        for at, bite, piece in changes:
            text = text[:at] + piece + text[at + bite:]
        texts.append(text)
    wrong = [text for text, said in zip(texts, taken(texts), strict=True) if said and not parses(text)]
    assert wrong == []
