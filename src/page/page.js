// The script of the page: it shows what the station says, and says what a person does. It knows no
// limit and no verdict. What it is told it puts in as text, or as parts that the station rendered.
'use strict';
(() => {
  const $ = (id) => document.getElementById(id);
  const read = (name) => { try { return localStorage.getItem(name); } catch { return null; } };
  const keep = (name, value) => { try { localStorage.setItem(name, value); } catch { /* asked anew */ } };
  const put = (id, text) => { const at = $(id); if (at && at.textContent !== text) at.textContent = text; };
  const body = document.body;

  // The way in: the secret stands behind `#`, is traded once and leaves the address at once.
  async function enter(secret) {
    history.replaceState(null, '', location.pathname + location.search);
    const answer = await send('/key', { secret });
    if (!answer.ok) { put('said', answer.detail || ''); return false; }
    keep('tapline-key', answer.key);
    return true;
  }

  async function send(path, fields) {
    const headers = { 'Content-Type': 'application/json', 'X-Tapline-Key': read('tapline-key') || '' };
    try {
      const reply = await fetch(path, { method: 'POST', headers, body: JSON.stringify(fields) });
      return { ...(await reply.json()), ok: reply.ok };
    } catch { return { ok: false, detail: '', gone: true }; }
  }

  // Dark or bright: as the system says, until somebody says otherwise.
  function switches() {
    const dark = $('dark'), sound = $('sound');
    if (!dark || !sound) return;
    const system = matchMedia('(prefers-color-scheme: dark)');
    const isDark = () => (read('tapline-theme') || (system.matches ? 'dark' : 'light')) === 'dark';
    const show = () => {
      document.documentElement.dataset.theme = isDark() ? 'dark' : 'light';
      dark.setAttribute('aria-pressed', String(isDark()));
      sound.setAttribute('aria-pressed', String(read('tapline-sound') !== 'off'));
    };
    dark.addEventListener('click', () => { keep('tapline-theme', isDark() ? 'light' : 'dark'); show(); });
    sound.addEventListener('click', () => {
      keep('tapline-sound', read('tapline-sound') === 'off' ? 'on' : 'off'); show(); tone('captured');
    });
    system.addEventListener('change', show);
    show();
  }

  // Three tones: one short and high, two low, a buzz. [hertz, begin, end, shape, loudness]. None is
  // a burst of three, five or ten pulses, none is rich in harmonics in the middle of hearing: so
  // sound alarms of medical equipment. Ears and small loudspeakers lose what is low, so that is
  // louder.
  const TONES = {
    captured: [[1320, 0, 0.12, 'sine', 0.25]],
    fail: [[440, 0, 0.28, 'triangle', 0.55], [330, 0.36, 0.72, 'triangle', 0.65]],
    attention: [[110, 0, 0.35, 'sawtooth', 0.4]],
  };
  let audio = null;
  function tone(name) {
    body.dataset.tone = name;
    if (!audio || read('tapline-sound') === 'off' || !TONES[name]) return;
    for (const [hertz, from, to, shape, gain] of TONES[name]) {
      const wave = audio.createOscillator(), loud = audio.createGain(), now = audio.currentTime;
      wave.type = shape; wave.frequency.value = hertz;
      loud.gain.setValueAtTime(0.0001, now + from);
      loud.gain.linearRampToValueAtTime(gain, now + from + 0.01);
      loud.gain.setValueAtTime(gain, now + to - 0.03);
      loud.gain.linearRampToValueAtTime(0.0001, now + to);
      wave.connect(loud).connect(audio.destination);
      wave.start(now + from); wave.stop(now + to + 0.02);
    }
  }
  const awake = () => { audio = audio || new AudioContext(); audio.resume(); };
  addEventListener('pointerdown', awake); addEventListener('keydown', awake);

  // The live value. Two clocks tell its age, the larger one counts: one stands still while the
  // machine sleeps, the other can be set.
  const SILENT_MS = 3500;
  let live = null, beat = performance.now(), lost = false;
  const since = (at) => Math.max(performance.now() - at.steady, Date.now() - at.wall);
  const moment = (age) => ({ steady: performance.now() - age, wall: Date.now() - age });

  function paint() {
    const silent = lost || performance.now() - beat > SILENT_MS;
    const gone = $('gone');
    if (gone && gone.hidden === silent) { gone.hidden = !silent; if (silent) tone('attention'); }
    const num = $('num');
    if (!num) return;
    const age = live ? since(live.at) : 0;
    const fresh = live && !silent && age <= live.old;
    num.classList.toggle('fresh', Boolean(fresh));
    num.classList.toggle('long', Boolean(fresh) && live.num.length > 7);
    put('num', fresh ? live.num : num.dataset.dashes);
    put('unit', fresh ? live.unit || '' : '');
    put('shows', fresh ? live.shows : '');
    put('age', fresh ? (age / 1000).toFixed(1) + ' s' : '');
    put('belongs', fresh ? live.belongs : '');
    const mark = $('mark');
    if (mark) {
      const shown = fresh && live.along !== null;
      mark.setAttribute('visibility', shown ? 'visible' : 'hidden');
      if (shown) mark.setAttribute('x', live.along + '%');
    }
  }

  // Parts that changed take the place of the old ones; what is being typed and what is open stay.
  function parts(html) {
    const fresh = new DOMParser().parseFromString(html, 'text/html');
    for (const part of [...fresh.body.children]) {
      const old = part.id === 'said' ? null : $(part.id);
      if (!old || old.dataset.sent === part.outerHTML) continue;
      const sent = part.outerHTML, kept = keepFields(old);
      const asked = part.dataset.state, before = old.dataset.state;
      const next = document.importNode(part, true);
      next.dataset.sent = sent;
      old.replaceWith(next);
      kept(next);
      if (asked && asked !== before) {
        const typing = /^(INPUT|SELECT)$/.test(document.activeElement.tagName) && document.activeElement.value;
        if (!typing) scrollTo({ top: 0 });
        // What was refused before was refused for what was asked before.
        const said = $('said');
        if (said && said.classList.contains('refused')) said.textContent = '';
        const more = $('more');
        if (more && !more.contains(document.activeElement)) more.open = false;
        put('told', (next.querySelector('.ask') || next).textContent);
        if (asked === 'may_be_live' || asked === 'halted') tone('attention');
      }
    }
    paint();
  }

  const nameOf = (field) => {
    const form = field.closest('form');
    const item = form && form.querySelector('input[type=hidden]');
    return [form && form.dataset.act, item && item.value, field.name || field.id].join('|');
  };
  function keepFields(part) {
    const typed = new Map(), focus = part.contains(document.activeElement) ? document.activeElement : null;
    for (const field of part.querySelectorAll('input:not([type=hidden]), select')) {
      typed.set(nameOf(field), [field.value, field.checked]);
    }
    // A step that is through closes again, unless somebody is at work in it.
    const stays = (one) => !one.id.startsWith('of-') || one.contains(focus) || one.querySelector('details[open]');
    const open = new Map([...part.querySelectorAll('details[id]')].map((one) => [one.id, one.open && stays(one)]));
    const focused = focus && (focus.id || nameOf(focus));
    return (next) => {
      for (const field of next.querySelectorAll('input:not([type=hidden]), select')) {
        const was = typed.get(nameOf(field));
        if (!was) continue;
        if (field.type === 'radio' || field.type === 'checkbox') field.checked = was[1] && field.value === was[0];
        else field.value = was[0];
      }
      for (const one of next.querySelectorAll('details[id]')) {
        if (open.get(one.id) && !one.open) one.open = true;
      }
      if (!focused) return;
      const again = [...next.querySelectorAll('button, input, select, summary')];
      const found = again.find((one) => (one.id || nameOf(one)) === focused);
      (found || $('code') || document.body).focus({ preventScroll: true });
    };
  }

  function listen(bench) {
    const feed = new EventSource('/bench/' + encodeURIComponent(bench) + '/live');
    const on = (name, what) => feed.addEventListener(name, (event) => {
      lost = false; beat = performance.now(); what(JSON.parse(event.data));
    });
    on('beat', () => {});
    on('view', (data) => parts(data.html));
    on('tone', tone);
    on('live', (data) => { live = data && { ...data, at: moment(data.age) }; paint(); });
    feed.onerror = () => { lost = true; live = null; paint(); };
    setInterval(paint, 100);
  }

  // A refusal stands under the instruction, and where that is out of sight at the button as well.
  let aside = null;
  function beside(form, text) {
    if (aside) aside.remove();
    aside = null;
    const at = $('said').getBoundingClientRect();
    if (!text || (at.top >= 0 && at.bottom <= innerHeight)) return;
    aside = document.createElement('p');
    aside.className = 'refused beside';
    aside.setAttribute('aria-hidden', 'true'); // it was said already
    aside.textContent = text;
    form.append(aside);
    aside.scrollIntoView({ block: 'nearest' });
  }

  // A sealed inspection was added to: it is shown anew, from its top on.
  async function renew(record) {
    try {
      const reply = await fetch(location.pathname);
      const fresh = new DOMParser().parseFromString(await reply.text(), 'text/html').getElementById('record');
      if (fresh) record.replaceWith(document.importNode(fresh, true));
    } catch { /* what was done was said */ }
    $('said').focus({ preventScroll: true }); scrollTo({ top: 0 });
  }

  // A scanner ends a badge by Enter: that goes on to the next secret field that is still empty.
  function onwards(event) {
    const at = event.target;
    if (event.key !== 'Enter' || at.type !== 'password' || !at.value) return;
    const all = [...at.form.querySelectorAll('input[type=password]')];
    const next = all.slice(all.indexOf(at) + 1).find((one) => !one.value);
    if (next) { event.preventDefault(); next.focus(); }
  }

  // Acts: the fields of a form as JSON, and what was seen where the act asks for that.
  const sending = new Set();
  async function act(form) {
    const name = form.dataset.act, fields = {};
    if (sending.has(form)) return;
    for (const [key, value] of new FormData(form)) {
      const field = form.elements[key];
      if (value === '') continue;
      const told = field.dataset && 'number' in field.dataset ? Number(value) : value;
      // `set.S5` is the member `S5` of the object `set`; only the first dot parts.
      const dot = key.indexOf('.'), of = key.slice(0, dot);
      if (dot > 0) fields[of] = { ...fields[of], [key.slice(dot + 1)]: told }; else fields[key] = told;
    }
    const seen = 'expect' in form.dataset && $('p-now').dataset.expect;
    if (seen) fields.expect = JSON.parse(seen);
    // What is entered twice is typed twice: the form is empty before it can be sent again.
    if (['prove', 'temperature', 'enter'].includes(name)) form.reset();
    sending.add(form);
    const record = $('record');
    const of = record ? ['inspection', record.dataset.of] : ['bench', body.dataset.bench];
    const answer = await send(`/${of[0]}/${encodeURIComponent(of[1])}/${name}`, fields);
    sending.delete(form);
    const said = $('said');
    said.classList.toggle('refused', !answer.ok);
    const refusal = answer.gone ? [$('gone').textContent] : [answer.detail, answer.next].filter(Boolean);
    const sentence = (text) => (/[.!?]$/.test(text) ? text : text + '.');
    said.textContent = answer.ok ? (answer.said || []).join(' ') : refusal.map(sentence).join(' ');
    beside(form, answer.ok ? '' : said.textContent);
    if (!answer.ok) tone('attention');
    if (record && answer.ok) await renew(record);
    const more = form.closest('#more');
    if (answer.ok && more && name !== 'prove') more.open = false;
    if (answer.ok && ['skip', 'note', 'end', 'override'].includes(name)) form.reset();
    for (const secret of form.querySelectorAll('input[type=password]')) secret.value = '';
    if (name === 'scan') { form.reset(); $('code').focus({ preventScroll: true }); }
  }

  // A scanner types: what is typed outside of a field goes into the scan field. F13 and F14, a
  // pedal, do what the large button does.
  function keys(event) {
    const at = document.activeElement, code = $('code');
    if (event.key === 'F13' || event.key === 'F14') {
      event.preventDefault(); const primary = $('primary'); if (primary && !event.repeat) primary.click();
      return;
    }
    if (event.key === 'Escape') { code.focus(); return; }
    const typing = at && /^(INPUT|SELECT|TEXTAREA)$/.test(at.tagName);
    const text = event.key.length === 1 && event.key !== ' ' && !event.ctrlKey && !event.altKey && !event.metaKey;
    // Where a badge is asked for, what a scanner types is one.
    if (text && !typing) ($('badge') || code).focus({ preventScroll: true });
  }

  async function start() {
    switches();
    const secret = location.hash.slice(1);
    if (/^[0-9a-f]{64}$/.test(secret)) {
      if (await enter(secret)) { if ('door' in body.dataset) { location.reload(); return; } } else return;
    }
    if (!body.dataset.bench && !$('record')) return;
    document.addEventListener('submit', (event) => {
      if (!event.target.dataset.act) return;
      event.preventDefault(); act(event.target);
    });
    if ($('record')) { document.addEventListener('keydown', onwards); return; }
    document.addEventListener('keydown', keys);
    listen(body.dataset.bench);
    $('code').focus({ preventScroll: true });
  }
  // An address with a key, opened where the page is already, moves only the part behind `#`.
  addEventListener('hashchange', () => { if (/^#[0-9a-f]{64}$/.test(location.hash)) location.reload(); });
  start();
})();
