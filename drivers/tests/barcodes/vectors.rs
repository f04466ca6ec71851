//! Codes with what they say and where that is published.

/// Name, codes in their order, what the last one says, where it is published.
pub(super) type Vector = (&'static str, &'static [&'static str], &'static str, &'static str);

/// GGS: GS1 General Specifications. "zint": figures cited in the tests of that library.
pub(super) const GS1: &[Vector] = &[
    (
        "G01",
        &["]C10109501101530003"],
        "gs1 device_id=09501101530003",
        "GGS 21.0.1 fig. 5.1-3, zint",
    ),
    (
        "G02",
        &["]C10110857674002017101152KMB"],
        "gs1 device_id=10857674002017 lot=1152KMB",
        "GGS fig. 4.15.1-1, zint",
    ),
    (
        "G03",
        &["]d201095011015300031715011910AB-123"],
        "gs1 device_id=09501101530003 expires_on=2015-01-19 lot=AB-123",
        "GGS fig. 2.6.14-3, zint",
    ),
    (
        "G04",
        &["]d2010401234567890121ABCDEFG123456789"],
        "gs1 device_id=04012345678901 serial=ABCDEFG123456789",
        "GGS fig. 2.6.14-4, zint",
    ),
    (
        "G05",
        &["]d201095240000591092112345678p901<GS>101234567p<GS>17271120"],
        "gs1 device_id=09524000059109 expires_on=2027-11-20 lot=1234567p serial=12345678p901",
        "GGS 23 fig. 4.15.1-1, zint",
    ),
    (
        "G06",
        &["]d2010001234567890517040115"],
        "gs1 device_id=00012345678905 expires_on=2004-01-15",
        "GGS fig. 5.6.3.1-1, zint",
    ),
    (
        "G07",
        &[
            "]d201000123456789051718040121ABCDEFGHIJKL12345678<GS>91ABCDEFGHI123456789<GS>92abcdefghi",
        ],
        "gs1 device_id=00012345678905 expires_on=2018-04-01 serial=ABCDEFGHIJKL12345678",
        "GGS fig. 5.6.3.2-3, zint",
    ),
    (
        "G08",
        &["]C18018950110153123456781"],
        "gs1 refused patient_identifier at 0 of -",
        "GGS fig. 2.5.2-1, zint",
    ),
    ("G09", &["]C100395123451234567895"], "gs1", "GGS fig. 5.4.2-1, zint: a pallet, no asset"),
    (
        "G10",
        &["]C180030061414112345232a/b"],
        "gs1 asset_id=0061414112345232a/b",
        "GS1 Tag Data Standard, example of a GRAI",
    ),
    (
        "G11",
        &["]C18004061414132a/b"],
        "gs1 asset_id=061414132a/b",
        "GS1 Tag Data Standard, example of a GIAI",
    ),
    (
        "G12",
        &["]d20105102222233336111412311715070710A213B1<GS>211234"],
        "gs1 device_id=05102222233336 expires_on=2015-07-07 lot=A213B1 made_on=2014-12-31 serial=1234",
        "G13 as a reader sends it, with a check digit that is right",
    ),
    (
        "G13",
        &["(01)51022222233336(11)141231(17)150707(10)A213B1(21)1234"],
        "gs1 device_id=51022222233336 expires_on=2015-07-07 lot=A213B1 made_on=2014-12-31 serial=1234",
        "UDI formats of the accredited agencies v1.3, 27 January 2017",
    ),
    (
        "G14",
        &["https://example.com/01/09506000134369"],
        "gs1link device_id=09506000134369",
        "GGS fig. 2.1.13.1",
    ),
    (
        "G15",
        &["]Q1https://id.gs1.org/01/09506000134352/21/SN1234?17=271120"],
        "gs1link device_id=09506000134352 expires_on=2027-11-20 serial=SN1234",
        "form of the GS1 Digital Link standard",
    ),
    (
        "G16",
        &["]Q3011231231231233310ABC123<GS>99TESTING"],
        "gs1 device_id=12312312312333 lot=ABC123",
        "gs1-syntax-engine, scandata.c",
    ),
    (
        "G17",
        &["]d1https://example.com/01/12312312312333?99=TEST"],
        "gs1link device_id=12312312312333",
        "gs1-syntax-engine, scandata.c",
    ),
    (
        "G18",
        &["]E06291041500213"],
        "gtin device_id=06291041500213 text=6291041500213",
        "worked example of the check digit, on two member organisations' pages",
    ),
    (
        "G19",
        &["]E402345673"],
        "gtin device_id=00000002345673 text=02345673",
        "gs1-syntax-engine, scandata.c",
    ),
    (
        "N01",
        &["]C10109501101530004"],
        "gs1 refused check_digit at 0 of 01",
        "G01 with a wrong check digit",
    ),
    (
        "N02",
        &["]d201095240000591092112345678p901101234567p17271120"],
        "gs1 refused length at 16 of 21",
        "G05 with its separators lost",
    ),
    (
        "N03",
        &["]d2010950110153000311000000"],
        "gs1 refused date at 16 of 11",
        "G01 with a month 00",
    ),
    ("W01", &["]d217150119"], "gs1 expires_on=2015-01-19 no_key", "the second half of G03"),
    (
        "W01 joined",
        &["]C10109501101530003", "]d217150119"],
        "gs1 device_id=09501101530003 expires_on=2015-01-19 joined",
        "shared in two parts: IMDRF UDI application guide, appendix B",
    ),
];

/// HIBC 2.6: ANSI/HIBC 2.6-2016. Fixtures of open decoders, each recomputed.
pub(super) const HIBC: &[Vector] = &[
    (
        "B01",
        &["+A123BJC5D6E71G"],
        "hibc device_id=A123BJC5D6E71 unit_of_use=1",
        "HIBC 2.6 fig. 1, zint",
    ),
    (
        "B02",
        &["+A123BJC5D6E71G", "+$$52001510X3GD"],
        "hibc device_id=A123BJC5D6E71 expires_on=2020-01-15 lot=10X3 unit_of_use=1 joined",
        "HIBC 2.6 fig. 1 and 5",
    ),
    (
        "B02 alone",
        &["+$$52001510X3GD"],
        "hibc expires_on=2020-01-15 lot=10X3 no_key",
        "HIBC 2.6 fig. 5",
    ),
    (
        "B02 foreign",
        &["+A99912345/$$52001510X33", "+$$52001510X3GD"],
        "hibc expires_on=2020-01-15 lot=10X3 no_key",
        "the second symbol links another first one",
    ),
    (
        "B03",
        &["+A99912345/$$52001510X33"],
        "hibc device_id=A99912345 expires_on=2020-01-15 lot=10X3 unit_of_use=5",
        "HIBC 2.6 sec. 2.2.1.1",
    ),
    (
        "B04",
        &["+A99912345/$$52001510X3/16D20111212/S77DEFG457"],
        "hibc device_id=A99912345 expires_on=2020-01-15 lot=10X3 made_on=2011-12-12 serial=77DEFG45 unit_of_use=5",
        "fixture of an open decoder, from the documentation",
    ),
    (
        "B05",
        &["+A99912345/$10X3/16D20111231/14D202001313"],
        "hibc device_id=A99912345 expires_on=2020-01-31 lot=10X3 made_on=2011-12-31 unit_of_use=5",
        "the same",
    ),
    (
        "B06",
        &["+A99912349/$10X3/16D20111231/14D20200131/Q500Z"],
        "hibc device_id=A99912349 expires_on=2020-01-31 lot=10X3 made_on=2011-12-31 quantity=500 unit_of_use=9",
        "sample data of HIBC 2.6",
    ),
    (
        "B07",
        &["+J123AQ3451/$$3231231BC34567/S4012R"],
        "hibc device_id=J123AQ3451 expires_on=2023-12-31 lot=BC34567 serial=4012 unit_of_use=1",
        "fixture, from the documentation",
    ),
    (
        "B08",
        &[
            "+A123ABCDEFGHI1234567891/$$420020216LOT123456789012345/SXYZ456789012345678/16D20130202$",
        ],
        "hibc device_id=A123ABCDEFGHI1234567891 expires_on=2020-02-02T16 lot=LOT123456789012345 made_on=2013-02-02 serial=XYZ456789012345678 unit_of_use=1",
        "UDI example of the agency, online example 1",
    ),
    (
        "B09",
        &["+A999PB414109/$$8243280112R00089525."],
        "hibc device_id=A999PB414109 expires_on=2028-01-12 lot=R00089525 quantity=24 unit_of_use=9",
        "form of a public fixture; the string is our own",
    ),
    (
        "B10",
        &["+A999ABC123DE0/$+1234567Y"],
        "hibc device_id=A999ABC123DE0 serial=1234567 unit_of_use=0",
        "IMDRF UDI application guide, appendix C",
    ),
    ("B11", &["+/EO5232013"], "hibc", "a provider's label: HIBC PAS 1.3 sec. 2.2"),
    (
        "N04",
        &["+A123BJC5D6E71+"],
        "hibc refused check_character at 14 of -",
        "fixture of an open decoder, list of invalid ones",
    ),
    ("N04 second", &["+$$52001510X3+D"], "hibc refused check_character at 14 of -", "the same"),
    (
        "N05",
        &["+A99912345/$$52001510X3/16D20111212/S77DEFG45/"],
        "hibc refused check_character at 45 of -",
        "the same",
    ),
    (
        "N06",
        &["+A999H008181/+$K42888/14D202601134"],
        "hibc refused check_character at 33 of -",
        "form that an open decoder takes",
    ),
    (
        "N06 right",
        &["+A999H008181/+$K42888/14D20260113C"],
        "hibc refused flag at 13 of -",
        "and with the check that it should have",
    ),
    (
        "N07",
        &[
            "+H123PARTNO1234567890120/$$420020216LOT123456789012345/SXYZ456789012345678/16D20130202C",
        ],
        "hibc refused check_character at 86 of -",
        "published sample whose check is a placeholder",
    ),
];

pub(super) const OTHERS: &[Vector] = &[
    (
        "I01",
        &["=/A9999XYZ100T0944=,000025=A99971312345600=>014032=}013032&,1000000000000XYZ123"],
        "isbt device_id=A9999XYZ100T0944 expires_on=2014-02-01 lot=000000000000XYZ123 made_on=2013-02-01 serial=000025",
        "UDI formats of the accredited agencies",
    ),
    ("T01", &["]C0AS-0001234"], "asset asset_id=AS-0001234 text=AS-0001234", "made for this test"),
    ("T02", &["]A1CE004217/"], "asset asset_id=CE004217 text=CE004217", "made for this test"),
    (
        "T02 wrong",
        &["]A1CE004217+"],
        "text refused check_character at 8 of -",
        "made for this test",
    ),
    ("T03", &["]C2AS-0001234"], "other text=AS-0001234", "made for this test"),
    ("T04", &["=1234"], "text text==1234", "made for this test"),
    ("T05", &["+41791234567"], "text text=+41791234567", "made for this test"),
    (
        "T06",
        &["https://inv.example/2024/01/15"],
        "text text=https://inv.example/2024/01/15",
        "made for this test",
    ),
    (
        "T07",
        &["https://inv.example/P-0107"],
        "asset asset_id=P-0107 text=P-0107",
        "made for this test",
    ),
];
