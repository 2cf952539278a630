// What the pages can't do without a script: clocks that tick, the loud word
// when the page is not live, a count in the title, a sound, a screen that stays
// on. Everything else is plain forms, links and htmx.
(() => {
  'use strict';
  const $ = (id) => document.getElementById(id);
  const root = document.documentElement;
  const demo = document.body.hasAttribute('data-demo');
  const version = document.body.dataset.version;
  const stream = $('stream');
  const baseTitle = document.title;
  // What is said here in the language of the page, see scriptWords.
  const said = JSON.parse($('said').textContent);
  const t = (sentence, ...args) => (said[sentence] || sentence).replace(/%s/g, () => args.shift());

  // --- live or not -------------------------------------------------------
  const quietFor = 12000; // the server beats every 5 s
  let connection = null;
  let lastHeard = Date.now();
  let lastClock = '';
  const before = document.body.dataset;
  let skew = Number(before.skew || Number(before.now) - Date.now()); // the server's clock less this device's, ms
  let offlineSince = 0;
  let why = '';
  let mark = $('view') ? $('view').dataset.mark : ''; // names what is shown: its last event, and its content

  // A page from before: the worker kept it, or the database is away.
  const awayWords = () => t('As of %s: the database is away. Nothing is lost on this page; ticks, packed, here and handed out wait on this device.', lastClock);
  if (before.since) {
    lastClock = before.since;
    lastHeard -= Number(before.age) * 1000;
    offlineSince = lastHeard;
    if ('away' in before) why = awayWords();
  }

  const age = () => Math.max(0, Math.round((Date.now() - lastHeard) / 60000));

  function liveness() {
    if (!stream && !offlineSince) return;
    const off = $('offline');
    if (offlineSince) {
      off.hidden = false;
      $('offline-since').textContent = lastClock ? t('since %s', lastClock) : '';
      const old = age();
      $('offline-why').textContent = why || (old
        ? t('You see the night as it was %s min ago. Ticks, packed, here and handed out are kept on this device until the line is back. Trying to get back.', old)
        : t('You see the night as it was then. Ticks, packed, here and handed out are kept on this device until the line is back. Trying to get back.'));
      root.classList.add('stale');
      $('liveness').textContent = lastClock ? t('Not live since %s', lastClock) : t('Not live');
    } else {
      off.hidden = true;
      root.classList.remove('stale');
      $('liveness').textContent = lastClock ? t('Live, %s', lastClock) : t('Connecting');
    }
  }
  function lost() {
    if (!offlineSince) offlineSince = Date.now();
    liveness();
  }
  function heard() {
    lastHeard = Date.now();
    offlineSince = 0;
    why = '';
    liveness();
    drain();
  }
  function reconnect() {
    if (!stream || resting) return;
    if (connection && connection.delayCanceller) connection.delayCanceller();
    if (connection && connection.reader) connection.reader.cancel();
    else stream.dispatchEvent(new Event('reconnect'));
    atOnce = true;
  }
  let atOnce = false; // a line that was cut here waits for nothing
  function stand(m) {
    mark = m;
    if (connection) connection.lastEventId = m; // what it says when it comes back
  }
  // A browser has six lines to one address, and each stream takes one for good. So
  // a page that is left or that nobody sees has none; of those that ring, the one
  // that was seen last keeps its own.
  const seenLast = 'seen last'; // tells the other pages of the device
  let resting = false;
  function hide() {
    if (resting) return; // it is being left
    if (document.querySelector('[data-here]')) store.set(seenLast, key());
    else rest();
  }
  function rest() {
    resting = true;
    document.title = baseTitle; // nobody counts any more
    badge('0');
    if (connection && connection.reader) connection.reader.cancel();
  }
  function rise() {
    resting = false;
    reconnect();
    arrivals();
    setTimeout(() => { if (Date.now() - lastHeard > 6000) lost(); }, 1500);
  }
  // What is shown is not what the server takes it for: all of it is sent again.
  function askForAll() {
    stand('0');
    reconnect();
  }

  if (stream) {
    stream.addEventListener('htmx:sse:before:connection', (e) => {
      if (resting) e.preventDefault();
      if (atOnce) setTimeout(() => e.detail.connection.delayCanceller?.());
      atOnce = false;
    });
    stream.addEventListener('htmx:sse:after:connection', (e) => {
      connection = e.detail.connection;
      stand(mark);
      if (resting) setTimeout(rest);
    });
    const again = () => setTimeout(reconnect, 2000); // until a stream has opened nothing else tries
    const refused = (status) => {
      if (status === 401 || status === 403) {
        why = t('This device is signed out. Tap “Try now” to sign in again.');
        tellWorker({ forget: true });
      } else if (status === 503 && lastClock) why = awayWords();
      lost();
    };
    stream.addEventListener('htmx:sse:error', (e) => refused(e.detail && e.detail.status));
    // The first try is a plain request: what is refused must not take the place of
    // the night.
    stream.addEventListener('htmx:before:response', (e) => {
      const { response } = e.detail.ctx;
      if (response.status < 400) return;
      e.preventDefault();
      refused(response.status);
      again();
    });
    stream.addEventListener('htmx:error', () => {
      lost();
      again();
    });
    stream.addEventListener('htmx:response:error', lost);
    stream.addEventListener('htmx:sse:close', () => { connection = null; });
    stream.addEventListener('htmx:sse:before:message', (e) => {
      const m = e.detail.message;
      if (m.event || !m.id) return;
      // Made before the answer to a tap that is shown already: a newer one follows.
      if (eventOf(m.id) < eventOf(mark)) e.detail.cancelled = true;
      else {
        stand(m.id);
        keepView(true);
      }
    });
    stream.addEventListener('parts', (e) => takeParts(e.detail));
    stream.addEventListener('beat', (e) => {
      const b = JSON.parse(e.detail.data);
      lastClock = b.at;
      skew = b.now - Date.now();
      heard();
      keepView();
      if (b.version !== version) location.reload();
    });
    setInterval(() => {
      const quiet = Date.now() - lastHeard;
      if (resting) return;
      if (quiet > quietFor) {
        lost();
        reconnect();
      } else if (offlineSince) liveness();
    }, 3000);
    document.addEventListener('visibilitychange', () => {
      if (document.visibilityState !== 'visible') {
        hide();
        return;
      }
      if (resting) rise();
      else if (Date.now() - lastHeard > 6000) { // after sleep the line may be dead without anybody having noticed
        lost();
        reconnect();
      }
      wake();
    });
    window.addEventListener('online', reconnect);
    window.addEventListener('offline', lost);
    window.addEventListener('pagehide', rest);
    window.addEventListener('pageshow', (e) => { if (e.persisted && resting) rise(); });
    window.addEventListener('storage', (e) => { if (e.key === seenLast && document.visibilityState !== 'visible') rest(); });
  }

  // --- what has changed -----------------------------------------------------
  // The stream sends the parts of the page (elements with an id) that are new
  // since the frame that it sent before, each after the one that it stands in;
  // what is marked data-same stays as it is here.
  let morph = null;
  let outdated = false;
  htmx.registerExtension('parts', {
    init: (api) => { ({ morph } = api); },
    htmx_before_morph_node: (old, { newNode }) => {
      if (newNode.hasAttribute('data-same')) return false;
      if (!old.matches('details.fix[open]')) return true;
      outdated = true; // somebody types here: it stays until they have done
      return false;
    },
  });
  function takeParts({ id, data }) {
    const line = data.indexOf('\n');
    if (contentOf(id) === contentOf(mark) || eventOf(id) < eventOf(mark)) return; // the answer to a tap has shown it
    if (data.slice(0, line) !== contentOf(mark)) {
      askForAll();
      return;
    }
    const sent = document.createElement('template');
    sent.innerHTML = data.slice(line + 1);
    for (const part of Array.from(sent.content.children)) {
      const one = document.createDocumentFragment();
      one.append(part);
      const old = $(part.id);
      if (old) morph(old, one, false);
    }
    if (document.querySelector('#view [data-same]')) {
      askForAll();
      return;
    }
    document.querySelectorAll('#view [hx-post]:not([data-htmx-powered])').forEach((e) => htmx.process(e));
    stand(id);
    changed();
    keepView(true);
  }

  // --- answers that come late ---------------------------------------------
  const contentOf = (m) => m.slice(m.indexOf('.') + 1);
  const eventOf = (m) => parseInt(m, 10) || 0;
  document.body.addEventListener('htmx:before:swap', (e) => {
    const { ctx, tasks } = e.detail;
    if (!ctx || ctx.sourceElement === stream || !ctx.response) return;
    const got = ctx.response.headers.get('Passbell-Mark');
    const main = tasks.findIndex((t) => t.target && t.target.id === 'view');
    if (!got || main < 0) return;
    // The stream has shown something newer meanwhile: keep that, and take only
    // the words about what was done.
    if (eventOf(got) < eventOf(mark)) tasks.splice(main, 1);
    else stand(got);
  });
  document.body.addEventListener('htmx:config:request', (e) => {
    const { request, sourceElement } = e.detail.ctx;
    if (sourceElement === stream) {
      request.headers['Last-Event-ID'] = mark;
      if (resting) e.preventDefault();
    }
    if (!keepable(request)) return;
    request.body.set('once', key());
    if (!offlineSince) return;
    e.preventDefault(); // no use in waiting for a line that is known to be down
    keep(request.action, new URLSearchParams(request.body), sourceElement);
  });
  document.body.addEventListener('htmx:before:response', (e) => {
    const ctx = e.detail.ctx;
    if (!ctx || ctx.sourceElement === stream || ctx.response.status !== 503) return;
    e.preventDefault(); // the database is away: the page stays, and so does the tap
    if (keepable(ctx.request) && ctx.request.body) keep(ctx.request.action, ctx.request.body, ctx.sourceElement);
    else say(t('Not done: passbell can’t reach its own records just now. Nothing was changed. Tap again when the page is live.'), true);
  });
  document.body.addEventListener('htmx:error', (e) => {
    const ctx = e.detail.ctx;
    if (!ctx || ctx.sourceElement === stream || ctx.request.method === 'GET') return;
    if (keepable(ctx.request) && ctx.request.body) {
      keep(ctx.request.action, ctx.request.body, ctx.sourceElement);
      return;
    }
    say(t('Not kept: no connection to passbell. Nothing was changed. Tap again when the page is live.'), true);
  });
  function say(text, bad) {
    const p = document.createElement('p');
    p.className = bad ? 'bad' : 'good';
    p.textContent = text;
    $('notice').replaceChildren(p);
  }

  // --- taps without a line ----------------------------------------------------
  // What is done to an order with its bags in hand is kept on the device, each
  // tap under a name of its own so that two pages never overwrite each other,
  // and sent in order once the line is back. The key of a tap makes it count
  // once, from whichever page and however often it is sent.
  const keptAs = 'tap ';
  const keepable = (r) => r.method === 'POST' && /^\/orders\/[^/]+\/(here|packed|unpacked|out|undo|items\/\d+\/(un)?tick)$/.test(r.action);
  const isTick = (path) => /tick$/.test(path);
  const key = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, '0')).join('');
  function taps() {
    try { return Object.keys(localStorage).filter((k) => k.startsWith(keptAs)).sort(); } catch { return []; }
  }
  function tapOf(name) {
    try { return JSON.parse(localStorage.getItem(name)); } catch { return null; }
  }
  function keep(path, body, form) {
    const button = form.querySelector('button');
    const what = (button && (button.getAttribute('aria-label') || button.textContent)) || path;
    const order = path.slice(0, path.lastIndexOf('/') + 1);
    const kept = taps().filter((name) => { const t = tapOf(name); return t && t.path.startsWith(order); });
    const last = kept.length ? tapOf(kept[kept.length - 1]) : null;
    if (last && last.path === path) {
      if (isTick(path)) takeBack(kept[kept.length - 1], last); // as a second tap on a tick does
      return; // a second tap on the same button
    }
    const tap = { path, body: body.toString(), what, label: button ? button.textContent : what };
    try {
      localStorage.setItem(keptAs + String(Date.now()).padStart(15, '0') + ' ' + body.get('once'), JSON.stringify(tap));
    } catch {
      say(t('Not kept: this device keeps nothing and there is no connection. Write it down, and tap again when the page is live.'), true);
      return;
    }
    say(t('Kept on this device and sent when the line is back: %s.', what));
    showKept();
  }
  function takeBack(name, tap) {
    localStorage.removeItem(name);
    say(t('Taken back: %s.', tap.what));
    showKept();
  }
  function showKept() {
    document.querySelectorAll('.keptNote').forEach((n) => n.remove());
    document.querySelectorAll('button.kept').forEach((b) => b.classList.remove('kept'));
    const names = taps();
    const bar = $('offline-kept');
    if (bar) bar.textContent = names.length ? t('Waiting on this device: %s.', names.length) : '';
    for (const name of names) {
      const tap = tapOf(name);
      const form = tap && Array.from(document.querySelectorAll('#view form.act')).find((f) => f.getAttribute('action') === tap.path);
      if (form && isTick(tap.path)) { // shown on the line itself: a note for each would bury the ticket
        form.querySelector('button').classList.add('kept');
        continue;
      }
      const place = form && form.closest('.ticket, .row');
      if (!place) continue;
      const p = document.createElement('p');
      p.className = 'keptNote';
      p.append(t('%s: kept on this device, not sent yet', tap.label) + ' ');
      const back = document.createElement('button');
      back.type = 'button';
      back.textContent = t('Take back');
      back.setAttribute('aria-label', t('Take back') + ': ' + tap.what);
      back.addEventListener('click', () => takeBack(name, tap));
      p.append(back);
      place.append(p);
    }
  }
  let draining = false;
  async function drain() {
    if (draining || !taps().length) return;
    draining = true;
    const words = [];
    let bad = false;
    let quiet = 0; // came through, and the page says so where it was tapped
    const send = async () => {
      for (const name of taps()) {
        const tap = tapOf(name);
        if (!tap) { localStorage.removeItem(name); continue; }
        const res = await fetch(tap.path, { method: 'POST', headers: { 'HX-Request': 'true', 'Content-Type': 'application/x-www-form-urlencoded' }, body: tap.body });
        if (res.status === 401 || res.status === 403) {
          why = t('This device is signed out. Sign in again: what you tapped is kept.');
          lost();
          return;
        }
        if (res.status >= 500) return;
        localStorage.removeItem(name);
        const said = new DOMParser().parseFromString(await res.text(), 'text/html').querySelector('#notice p');
        if (said) {
          words.push(said.textContent);
          bad = bad || said.className === 'bad';
        } else quiet++;
      }
    };
    try {
      if (navigator.locks) await navigator.locks.request('passbell taps', send);
      else await send();
    } catch { /* no line yet: the next sign of life tries again */ }
    draining = false;
    if (quiet) words.push(t('Ticks sent: %s.', quiet));
    if (words.length) say(t('The line is back.') + ' ' + words.join(' '), bad);
    showKept();
  }
  window.addEventListener('storage', showKept); // another page kept or sent something

  // --- kept on the device ---------------------------------------------------
  // A worker keeps this page as it is for a reload without a line, see sw.js. It
  // is there where the address is safe: https, or this machine.
  const worker = before.keep && navigator.serviceWorker;
  const path = location.pathname;
  let unkept = null; // what the worker was not told yet
  let toldWorker = 0;
  let telling = 0;
  function tellWorker(m) {
    if (worker && worker.controller) worker.controller.postMessage(m);
  }
  function keepView(changed) {
    if (!worker) return;
    unkept = { changed: changed || (unkept && unkept.changed) };
    if (unkept.changed) telling = telling || setTimeout(tellView, 1000); // not in the way of what is being shown
    else if (Date.now() - toldWorker >= 10000) tellView();
  }
  function tellView() {
    clearTimeout(telling);
    telling = 0;
    if (!unkept) return;
    toldWorker = Date.now();
    tellWorker({ path, owner: before.keep, mark, clock: lastClock, view: unkept.changed ? $('view').innerHTML : undefined });
    unkept = null;
  }
  if (worker) {
    // A worker that is new to this page has not seen it come.
    const load = { load: path };
    if (!before.since) {
      worker.addEventListener('controllerchange', () => tellWorker(load));
      worker.register(before.worker, { scope: '/' }).then(() => worker.ready).then((r) => r.active.postMessage(load))
        .catch(() => { /* none to be had: all is as without one */ });
    }
    document.addEventListener('visibilitychange', () => { if (document.visibilityState === 'hidden') tellView(); });
  }

  // --- taps ----------------------------------------------------------------
  // When tickets move up, the second half of a double tap would land on the
  // next customer's button. For a moment after that no button takes a tap.
  let order = '';
  let settle = 0;
  const shown = () => Array.from(document.querySelectorAll('#view .ticket, #view .row'), (t) => t.id).join();
  function settled() {
    const now = shown();
    if (now !== order) {
      order = now;
      document.body.classList.add('settling');
      clearTimeout(settle);
      settle = setTimeout(() => document.body.classList.remove('settling'), 600);
    }
  }
  document.addEventListener('submit', (e) => {
    if (document.body.classList.contains('settling') && e.target.matches('.act')) {
      e.preventDefault();
      e.stopImmediatePropagation();
    }
  }, true);

  // What somebody has opened and is typing into stays as it is until it is closed.
  document.addEventListener('toggle', (e) => {
    if (!outdated || !e.target.matches('details.fix:not([open])')) return;
    outdated = false;
    askForAll();
  }, true);
  document.addEventListener('submit', (e) => {
    const d = e.target.closest('details.fix');
    if (d) setTimeout(() => { d.open = false; });
  });

  // --- clocks ----------------------------------------------------------------
  function tick() {
    if (demo) return; // its clock runs fast; the server sends every minute of it
    const now = Date.now() + skew;
    for (const t of document.querySelectorAll('time[data-since]')) {
      const s = Math.max(0, Math.floor((now - Number(t.dataset.since)) / 1000));
      const h = Math.floor(s / 3600);
      const text = h ? h + ' h ' + String(Math.floor(s / 60) % 60).padStart(2, '0') : Math.floor(s / 60) + ':' + String(s % 60).padStart(2, '0');
      if (t.textContent !== text) t.textContent = text;
    }
  }
  setInterval(tick, 1000);

  // --- arrivals ----------------------------------------------------------------
  const store = {
    get(k) { try { return localStorage.getItem(k); } catch { return null; } },
    set(k, v) { try { localStorage.setItem(k, v); } catch { /* private window */ } },
  };
  let here = null;
  let audio = null;
  function bell() {
    if (store.get('sound') !== 'on') return;
    if (navigator.vibrate) navigator.vibrate([200, 80, 200]);
    try {
      audio = audio || new AudioContext();
      audio.resume();
      [0, 0.22].forEach((at, i) => {
        const o = audio.createOscillator();
        const g = audio.createGain();
        o.frequency.value = i ? 988 : 1319;
        g.gain.setValueAtTime(0.25, audio.currentTime + at);
        g.gain.exponentialRampToValueAtTime(0.001, audio.currentTime + at + 0.5);
        o.connect(g).connect(audio.destination);
        o.start(audio.currentTime + at);
        o.stop(audio.currentTime + at + 0.5);
      });
    } catch { /* no sound on this device */ }
  }
  // How many wait stands on the page's icon too, for a device with many pages.
  const icon = document.querySelector('link[rel=icon]');
  const plainIcon = icon ? icon.href : '';
  let badged = '0';
  function badge(count) {
    if (!icon || count === badged) return;
    badged = count;
    if (count === '0') {
      icon.href = plainIcon;
      icon.type = 'image/svg+xml';
      return;
    }
    const c = document.createElement('canvas');
    c.width = c.height = 64;
    const g = c.getContext('2d');
    if (!g) return;
    g.fillStyle = '#a1221b';
    g.beginPath();
    g.arc(32, 32, 32, 0, 7);
    g.fill();
    g.fillStyle = '#fff';
    g.font = 'bold ' + (count.length > 1 ? 38 : 46) + 'px sans-serif';
    g.textAlign = 'center';
    g.textBaseline = 'middle';
    g.fillText(count, 32, 35);
    icon.type = 'image/png';
    icon.href = c.toDataURL('image/png');
  }
  function arrivals() {
    const pass = document.querySelector('[data-here]');
    if (!pass) return;
    const count = pass.dataset.here;
    document.title = (count !== '0' ? '(' + count + ') ' : '') + baseTitle;
    badge(count);
    const now = new Set(Array.from(document.querySelectorAll('.ticket.here'), (t) => t.id));
    if (here) {
      const fresh = [...now].filter((id) => !here.has(id));
      fresh.forEach((id) => $(id).classList.add('new'));
      if (fresh.length) bell();
    }
    here = now;
  }

  const toggle = (id, on) => {
    const b = $(id);
    b.setAttribute('aria-pressed', String(on));
    b.textContent = id === 'sound'
      ? (on ? t('Sound on arrival: on') : t('Sound on arrival: off'))
      : (on ? t('Keep screen on: on') : t('Keep screen on: off'));
  };
  const sound = $('sound');
  if (sound && document.querySelector('[data-here]')) {
    sound.hidden = false;
    toggle('sound', store.get('sound') === 'on');
    sound.addEventListener('click', () => {
      const on = store.get('sound') !== 'on';
      store.set('sound', on ? 'on' : 'off');
      toggle('sound', on);
      if (on) bell();
    });
  }

  // --- the screen stays on ------------------------------------------------------
  let lock = null;
  const wall = document.body.classList.contains('tab-wall'); // it has no button for this and needs none
  async function wake() {
    if (!('wakeLock' in navigator) || !(wall || store.get('awake') === 'on') || lock || document.visibilityState !== 'visible') return;
    try {
      lock = await navigator.wakeLock.request('screen');
      lock.addEventListener('release', () => { lock = null; });
    } catch { lock = null; }
  }
  const awake = $('awake');
  if (wall) {
    if ('wakeLock' in navigator) wake();
    else $('awakeness').hidden = false;
  }
  if (awake && document.querySelector('[data-here]')) {
    awake.hidden = false;
    if ('wakeLock' in navigator) {
      toggle('awake', store.get('awake') === 'on');
      awake.addEventListener('click', () => {
        const on = store.get('awake') !== 'on';
        store.set('awake', on ? 'on' : 'off');
        toggle('awake', on);
        if (on) wake();
        else if (lock) lock.release();
      });
      wake();
    } else {
      awake.disabled = true;
      awake.textContent = t('This browser can’t keep the screen on: set that in the device’s own settings.');
    }
  }

  // --- after every change ---------------------------------------------------------
  function changed() {
    settled();
    tick();
    arrivals();
    showKept();
  }
  document.body.addEventListener('htmx:after:swap', () => {
    changed();
    // Whoever works by keyboard is not thrown back to the top of the page.
    if (lastAct && (document.activeElement === document.body || !document.activeElement)) $('notice').focus({ preventScroll: true });
    lastAct = false;
  });
  let lastAct = false;
  document.addEventListener('submit', () => { lastAct = true; });

  order = shown();
  showKept();
  tick();
  arrivals();
  liveness();
  if (document.visibilityState !== 'visible') hide();
})();
