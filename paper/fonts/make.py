# Cuts a face of Inter down (fonttools 4): make.py Inter-Regular.otf OUT.otf
import sys
from fontTools.ttLib import TTFont
from fontTools import subset
src, out = sys.argv[1:]
font = TTFont(src, recalcTimestamp=False)
gsub = font["GSUB"].table
maps = {}
for rec in gsub.FeatureList.FeatureRecord:
    if rec.FeatureTag in ("tnum",):
        for i in rec.Feature.LookupListIndex:
            for st in gsub.LookupList.Lookup[i].SubTable:
                st = getattr(st, "ExtSubTable", st)
                if hasattr(st, "mapping"): maps.update(st.mapping)
for table in font["cmap"].tables:
    for code in list(range(0x30, 0x3A)):
        name = table.cmap.get(code)
        if name in maps: table.cmap[code] = maps[name]
o = subset.Options()
o.layout_features = []
o.name_IDs = [0,1,2,3,4,5,6,13,14]
o.hinting = False
o.notdef_outline = True
o.recalc_timestamp = False
s = subset.Subsetter(o)
codes = set(range(0x20,0x7f)) | set(range(0xa0,0x180)) | set(range(0x386,0x3cf)) | set(range(0x400,0x460))
codes |= {0x1e9e,0x218,0x219,0x21a,0x21b,0x2126,0x2010,0x2011,0x2012,0x2013,0x2014,0x2018,0x2019,0x201a,0x201c,0x201d,0x201e,0x2020,0x2022,0x2026,0x2030,0x2032,0x2033,0x2039,0x203a,0x20ac,0x2122,0x2190,0x2191,0x2192,0x2193,0x2202,0x2206,0x2211,0x2212,0x221a,0x221e,0x2248,0x2260,0x2264,0x2265,0x2116,0x2713,0x2717,0x25cf,0x25cb,0x25a0,0x25a1,0x25b2,0x25c6,0x2009,0x202f}
s.populate(unicodes=codes)
s.subset(font)
font.save(out)
f = TTFont(out); cm=f.getBestCmap()
print(out, len(f.getGlyphOrder()), "missing", [hex(c) for c in sorted(codes) if c not in cm], [f['hmtx'][cm[c]][0] for c in range(0x30,0x3a)])
