//! Every kind of fact comes back from its stored line, and is written again byte for byte.

use std::collections::BTreeSet;

use tapline::books::Line;
use tapline_protocols::Fact;

/// What stands between `m` and `by` in a line, a line or more of each kind.
const FACTS: &[&str] = &[
    r#""k":"open","format":"tapline-book-1","id":"2026","station":"K3","version":"0.1.0","judge":1,"boot":"6f1c2a9e","zone":"Etc/UTC","offset":"+00:00","synced":true,"follows":"2025""#,
    r#""k":"open","format":"tapline-book-1","id":"K3-20261124-0007","verify":"sha256sum -c ID.head","station":"K3","bench":"b1","asset":"P-0107","plan":"iec62353-recurrent-direct","reason":"scheduled","policy":{"guard_ms":500,"null_max_age_min":60,"decision_rule":"simple","out_of_calibration":"block","unconfirmed_limits":"undecided","release":{"seconds":"0.5","readings":2,"factor":10}},"scan":4688,"version":"0.1.0","judge":1,"boot":"6f1c2a9e","zone":"Etc/UTC","offset":"+00:00","synced":true,"key":"8c88","by":"op-7""#,
    r#""k":"given","what":"steps","list":[{"step":"pe/1","of":"pe","point":"case screw","direction":"plus"},{"step":"leak/1","of":"leak","set":{"S5":"normal","S7":"open"}},{"step":"part/1","of":"part","part":"fluid line","closed":"fixture_missing"}]"#,
    r#""k":"given","what":"plan","text":"format = \"tapline-plan-1\"\n","sha256":"8c88""#,
    r#""k":"tap","link":"dmm","instrument":"DM-01","driver":"scpi","driver_version":1,"identity":"GENERIC,BENCH-DMM,0001,1.0","source_class":"none""#,
    r#""k":"tap","link":"log","driver":"csv-line","driver_version":1,"unconfirmed":true"#,
    r#""k":"in","link":"ohm","at":1802,"raw":"R4 +0.182 Ohm\r\n","cuts":[[0,0],[9,1042]],"read":[{"b":[-3,15],"f":"resistance_4w","i":"above","v":"0.182","u":"Ohm","x":["hold"],"s":"pe/1"},{"b":[0,8],"f":"contacts","i":"none","x":["c1","c3"],"why":"idle"}]"#,
    r#""k":"out","link":"dmm","raw":"READ?\n""#,
    r#""k":"tick","link":"dmm""#,
    r#""k":"link","link":"dmm","state":"down","why":"unplugged""#,
    r#""k":"clock","step_us":-3600000000,"synced":false"#,
    r#""k":"clock","step_us":-3600000000,"synced":false,"was":"2026-11-24T09:14:03.512004Z""#,
    r#""k":"clock","step_us":0,"synced":true,"slept_us":61000000"#,
    r#""k":"scan","link":"gun","raw":"]C18004061414132a/b","aim":"]C1","kind":"text","asset":"P-0107""#,
    r#""k":"scan","kind":"refused","refused":"patient_identifier","length":22"#,
    r#""k":"step","step":"try","state":"skipped","reason":"no test fluid here","by":"op-7""#,
    r#""k":"switch","box":"SB-1","set":{"S7":"open"},"known":"revealed""#,
    r#""k":"act","what":"connected","step":"leak/1","by":"op-7""#,
    r#""k":"answer","step":"look","item":"fuses","answer":"pass","by":"op-7""#,
    r#""k":"null","lead":"L-1","function":"resistance_4w","range":"2 Ohm","direction":"plus","value":"0.061","unit":"Ohm","zeroed":"no","from":[[4694,0]],"carried":null,"by":"op-7""#,
    r#""k":"prove","what":"network_resistance","step":"leak/1","set":{"S7":"closed"},"value":"10.013","unit":"kOhm","want":"10.012","ok":true,"from":[[4699,0]]"#,
    r#""k":"prove","what":"supply","ln":"230.4","npe":"0.3","lpe":"230.2","unit":"V","known":"declared","typed":true,"ok":true,"carried":{"book":"K3-20261124-0006","seq":4410,"m":7},"by":"op-7""#,
    r#""k":"prove","what":"source","step":"part/1","value":"227","unit":"V","known":"declared","typed":true,"differs":true,"ok":false,"why":"enter_again","by":"op-7""#,
    r#""k":"value","step":"pe/1","rule":"worst_over","from":[[4708,0],[4710,0]],"indication":"above","value":"-0.182","unit":"Ohm","set":{"S5":"reversed"},"known":"witnessed","words":["open_seen"]"#,
    r#""k":"drop","value":4713,"cause":"lead_slipped","second":null,"in_force":true,"by":"op-7""#,
    r#""k":"verdict","step":"pe","measurand":"protective_earth_resistance","method":"fixed_cord","value":"0.214","unit":"Ohm","shown":"0.214","from":[4713,4730],"chain":[{"do":"lead_null","of":["0.243","-0.275"],"minus":["0.061","0.061"],"from":[4695,4696],"gives":["0.182","0.214"]},{"do":"largest_magnitude","of":["0.182","0.214"]}],"limit":{"id":"iec62353-2014.pe.fixed_cord","value":"0.300","unit":"Ohm","direction":"max","inclusive":true,"standard":"IEC 62353","edition":"2014","clause":"5.3.2 a)","confidence":"two_sources","layer":"standard","table":"8c88"},"rule":"simple","share":"71.3","uncertainty":{"u":"0.0041","k":"2","expanded":"0.0082"},"probability":"1.000","verdict":"pass","reasons":[]"#,
    r#""k":"note","text":"a \"quoted\" \\ remark, \u007f\u0085 ünïcode""#,
    r#""k":"override","step":"leak","reason":"second meter agrees","by":"op-7""#,
    r#""k":"park","reason":"lunch","by":"op-7""#,
    r#""k":"resume","bench":"b1","boot":"6f1c2a9e","version":"0.1.0","judge":1,"after":"restart""#,
    r#""k":"sign","as":"performed","auth":"badge","outcome":"undecided","words":["conditions_declared"],"open":["part","try"],"tag":"attached","by":"op-7""#,
    r#""k":"end","outcome":"in_use","reason":"patient on it","by":"op-7""#,
    r#""k":"torn","bytes":18446744073709551615,"sha256":"8c88","file":"2026.torn-9""#,
    r#""k":"start","boot":"6f1c2a9e","version":"0.1.0","synced":true"#,
    r#""k":"stop""#,
    r#""k":"asset","id":"P-0107","description":"infusion pump","maker":"Quellhof Works","model":"Tropf 2","serial":"12345","location":"North/3/B","owner":"clinic","class":"I","functional_earth":false,"cord":"fixed","cords":[],"rated_volts":"230","rated_amps":"0.3","switching_supply":true,"earthed_points":["case screw"],"accessible_parts":[],"applied_parts":[{"name":"fluid line","type":"CF","connections":1}],"states":["operating"],"built_to":"IEC 60601-1:2005","plan":null,"interval":"P12M","due":"2026-11-30","excluded":[{"step":"insulation","reason":"maker forbids 500 V"}]"#,
    r#""k":"instrument","id":"LR-01","what":"low-resistance meter, four-wire","serial":"0001","source_class":"low","isolation":{"kind":"optical","volts":1000},"calibration_due":"2027-03-31","certificate":"C-2026-118","range":[]"#,
    r#""k":"setup","id":"LK-1","what":"leakage, network and voltmeter","meter":"DM-01","network":"NW-1","function":"voltage_ac","ratio":{"1000":"0.694","50":"0.9987"},"calibration_due":"2027-03-31""#,
    r#""k":"fixture","id":"NW-1","what":"network_fig12","inspection_due":"2027-03-31","certificate":"C-2026-140""#,
    r#""k":"setup","id":"LK-4","what":"weighted touch current","meter":"PM-01","network":"NW-4","output":"u2","function":"voltage_peak","ratio":{},"calibration_due":"2027-03-31""#,
    r#""k":"fixture","id":"NW-4","what":"network_fig4","inspection_due":"2027-03-31","r1":"10.02 kOhm","rs":"1.498 kOhm","rb":"499.5 Ohm","certificate":"C-2026-141""#,
    r#""k":"prove","what":"network_resistance","step":"touch/1","set":{"probe":"earth"},"value":"10.3945","unit":"kOhm","want":"10.394587","ok":true,"from":[[90,0],[91,0]]"#,
    r#""k":"lead","id":"L-1","what":"clip to plug contact","reference":{"plus":"0.058 Ohm","minus":"0.059 Ohm"}"#,
    r#""k":"standard","id":"CS-1","what":"resistor, four terminals","function":"resistance_4w","value":"0.2003 Ohm","room":"0.006 Ohm","certificate":"C-2026-151","calibration_due":"2027-03-31""#,
    r#""k":"check","bench":"b1","standard":"CS-1","certificate":"C-2026-151","instrument":"LR-01","function":"resistance_4w","value":"0.202","unit":"Ohm","want":"0.2003 Ohm","room":"0.006 Ohm","ok":true,"from":[[4690,0],[4691,0],[4692,0]],"by":"op-7""#,
    r#""k":"standard","id":"CS-20","what":"0.500 Ohm, current of the meter","function":"voltage_dc","of":"LR-01","value":"0.110 V","room":"0.010 V","certificate":"C-2026-152","calibration_due":"2027-03-31""#,
    r#""k":"operator","id":"op-7","name":"R. Feld","badge":"OP-0007","competence":[{"what":"live_work","until":"2027-12-31"}]"#,
    r#""k":"login","bench":"b1","operator":null"#,
    r#""k":"pin","operator":"op-7","what":"wrong","from":"socket","uid":1000,"bench":"b1""#,
    r#""k":"pin","what":"wrong","from":"page""#,
    r#""k":"sign","as":"performed","auth":"badge+pin","outcome":"pass","words":[],"open":[],"by":"op-7""#,
    r#""k":"visit","asset":"P-0107","outcome":"not_found","day":"2026-11-24","place":"North/3","retry":"2026-12-01","reason":"room locked","by":"op-7""#,
    r#""k":"checkout","bench":"b1","instrument":"LR-01","link":"ohm","from":"b2","by":"op-7""#,
    r#""k":"checkout","bench":"b1","instrument":"LR-01","by":"op-7""#,
    r#""k":"visit","asset":"P-0107","outcome":"in_use","day":"2026-11-24","by":"op-7""#,
    r#""k":"pruned","records":[["K3-20261124-0007","8c88"],["K3-20261124-0007+1","8c89"]],"receipt":"77a0","folder":"/media/first","by":"op-2""#,
    r#""k":"former","id":"P-0107 2019-03-05 equipment_leakage direct ac |","asset":"P-0107","day":"2019-03-05","measurand":"equipment_leakage","method":"direct","kind":"ac","value":"0.071 mA","source":"folder A, page 7","measured_by":"R. Feld","meter":"tester 2","remark":"own cord","by":"op-7""#,
    r#""k":"former","id":"P-0107 2019-03-05 insulation_resistance - - head|cold","asset":"P-0107","day":"2019-03-05","measurand":"insulation_resistance","point":"head","condition":"cold","bound":"above","value":"200 MOhm","source":"folder A","withdrawn":"of another asset","by":"op-7""#,
    r#""k":"given","what":"former","list":[{"id":"P-0107 2019-03-05 touch_current - - |","asset":"P-0107","day":"2019-03-05","measurand":"touch_current","value":"7 uA","source":"folder A"}]"#,
    r#""k":"order","order":"WO-7","asset":"P-0107","reason":"after_repair","wanted_by":"2026-12-01","remark":"new cord","file":"wo.csv","sha256":"8c88""#,
    r#""k":"order","order":"WO-8","asset":"P-0107","reason":"other""#,
    r#""k":"order_end","order":"WO-7","inspection":"K3-20261124-0007","outcome":"pass","closed":true"#,
    r#""k":"order_end","order":"WO-8","outcome":"withdrawn","closed":true,"reason":"typed wrong","by":"op-7""#,
    r#""k":"confirm","rows":["iec62353-2014.part.direct.cf"],"document":"IEC 62353:2014, own copy 3","clause":"Table 3","by":"op-2","sig":"c2ln""#,
    r#""k":"key","key":"8c88","file":"keys/K3-1.pub.pem","replaces":null"#,
    r#""k":"key","key":"8c88","file":"keys/K3-2.pub.pem","replaces":"77f0","before":"signed","reason":"a laptop was stolen","by":"op-2","sig":"c2ln""#,
    r#""k":"sealed","id":"K3-20261124-0007","head":"8c88","bytes":48211,"key":"8c88""#,
    r#""k":"sealed","id":"K3-20261124-0007","head":"8c88","bytes":48211,"key":"8c88","waits":true"#,
    r#""k":"sealed","id":"K3-20261124-0007+1","head":"8c88","bytes":48211,"key":"8c88","later":{"state":"reattached","outcome":"undecided","asset":"P-0108","by_its_plan":false},"waits":true"#,
    r#""k":"addendum","of":"K3-20261124-0007","head":"8c88","follows":"K3-20261124-0007+1","follows_head":"77f0","asset":"P-0107","by":"op-2""#,
    r#""k":"review","accepted":true,"by":"op-2""#,
    r#""k":"review","accepted":false,"remark":"the cord was never looked at","by":"op-2""#,
    r#""k":"amend","reason":"typing_error","text":"the ward was another","fields":[{"field":"location","before":"North/3","after":"North/2"},{"field":"remark","after":"x"}],"second":"op-7","label":false,"by":"op-2""#,
    r#""k":"reattach","from":"P-0107","to":{"id":"P-0108","description":"infusion pump","maker":"Quellhof Works","model":"Tropf 2","serial":"1","location":"North/3","owner":"clinic","class":"I","functional_earth":false,"cord":"fixed","cords":[],"rated_volts":"230","rated_amps":null,"switching_supply":true,"earthed_points":[],"accessible_parts":[],"applied_parts":[],"states":[],"built_to":"","plan":null,"interval":"P12M","due":null,"excluded":[]},"text":"the labels were mixed up","differs":["earthed_points"],"second":"op-7","by":"op-2""#,
    r#""k":"sign","as":"reviewed","auth":"badge","outcome":"pass","words":[],"open":[],"by":"op-2","sig":"c2ln""#,
    r#""k":"halted","reason":"no room""#,
    r#""k":"recovered""#,
    r#""k":"refused","what":"scan","why":"patient_identifier""#,
];

#[test]
fn every_kind_of_fact_comes_back_byte_for_byte() {
    let mut kinds = BTreeSet::new();
    for (n, fact) in FACTS.iter().enumerate() {
        let text = format!(
            "{{\"seq\":{n},\"t\":\"2026-11-24T08:14:03.530551Z\",\"m\":83530551,{fact}}}\n"
        );
        let line = Line::read(text.as_bytes()).unwrap_or_else(|e| panic!("{e}: {text}"));
        assert_eq!(String::from_utf8(line.bytes().unwrap()).unwrap(), text);
        kinds.insert(kind(&line.fact));
    }
    assert_eq!(kinds.len(), KINDS, "kinds without a line here; there are: {kinds:?}");
}

/// Kinds of facts. Whoever adds one is sent here by the compiler.
const KINDS: usize = 53;

fn kind(fact: &Fact) -> &'static str {
    match fact {
        Fact::Open(_) => "open",
        Fact::Given(_) => "given",
        Fact::Tap(_) => "tap",
        Fact::In(_) => "in",
        Fact::Out(_) => "out",
        Fact::Tick(_) => "tick",
        Fact::Link(_) => "link",
        Fact::Clock(_) => "clock",
        Fact::Scan(_) => "scan",
        Fact::Step(_) => "step",
        Fact::Switch(_) => "switch",
        Fact::Act(_) => "act",
        Fact::Answer(_) => "answer",
        Fact::Null(_) => "null",
        Fact::Prove(_) => "prove",
        Fact::Value(_) => "value",
        Fact::Drop(_) => "drop",
        Fact::Verdict(_) => "verdict",
        Fact::Note(_) => "note",
        Fact::Override(_) => "override",
        Fact::Park(_) => "park",
        Fact::Resume(_) => "resume",
        Fact::Sign(_) => "sign",
        Fact::End(_) => "end",
        Fact::Addendum(_) => "addendum",
        Fact::Review(_) => "review",
        Fact::Amend(_) => "amend",
        Fact::Reattach(_) => "reattach",
        Fact::Torn(_) => "torn",
        Fact::Start(_) => "start",
        Fact::Stop(_) => "stop",
        Fact::Asset(_) => "asset",
        Fact::Instrument(_) => "instrument",
        Fact::Setup(_) => "setup",
        Fact::Fixture(_) => "fixture",
        Fact::Lead(_) => "lead",
        Fact::Standard(_) => "standard",
        Fact::Check(_) => "check",
        Fact::Operator(_) => "operator",
        Fact::Login(_) => "login",
        Fact::Pin(_) => "pin",
        Fact::Checkout(_) => "checkout",
        Fact::Visit(_) => "visit",
        Fact::Former(_) => "former",
        Fact::Order(_) => "order",
        Fact::OrderEnd(_) => "order_end",
        Fact::Confirm(_) => "confirm",
        Fact::Key(_) => "key",
        Fact::Sealed(_) => "sealed",
        Fact::Pruned(_) => "pruned",
        Fact::Halted(_) => "halted",
        Fact::Recovered(_) => "recovered",
        Fact::Refused(_) => "refused",
    }
}
