// Keeps the night on the device, for a reload or an opened tab when there is no
// line. The line comes first: what is kept is shown only where the server does
// not answer in time, with its age. Kept are the pages that are worked from, as
// they last were on an open page, for one owner (a kitchen and a sign-in), until
// the night is over. Acts, the stream and everything else go past here.
'use strict';
const shelf = 'night ' + new URL(location).searchParams.get('v');
const works = ['/', '/runner', '/wall', '/orders'];
const patience = 4000; // ms; a cook waits no longer for a page

const pageName = (path) => '/kept' + path;
const seenName = (path) => '/seen' + path; // when that was still true, for a page that has not changed since
const isFile = (url) => new URL(url).pathname.startsWith('/static/');

// Writes happen one after the other, so that none is lost.
let turn = Promise.resolve();
const inTurn = (fn) => (turn = turn.then(fn).catch(() => {}));

// about is what is known of a kept page.
const about = (kept) => Object.fromEntries(['owner', 'until', 'mark', 'clock', 'skew', 'at', 'policy'].map((k) => [k, kept.headers.get(k)]));
async function put(name, html, facts) {
  await (await caches.open(shelf)).put(name, new Response(html, { headers: facts }));
}

// drop lets go of the kept pages that are to be gone.
async function drop(gone) {
  const cache = await caches.open(shelf);
  for (const key of await cache.keys()) {
    if (!isFile(key.url) && gone(about(await cache.match(key)))) await cache.delete(key);
  }
}
const dropAll = () => drop(() => true);
const dropOver = () => drop((kept) => Number(kept.until) <= Date.now());

// heed does what an answer says of keeping: whose it is and for how many seconds.
// What another owner left is dropped; "none 0" ends everything that was kept.
async function heed(res) {
  const said = res.headers.get('Passbell-Keep');
  if (!said) return null;
  const [owner, left] = said.split(' ');
  const until = Date.now() + Number(left) * 1000;
  if (!(Number(left) > 0)) {
    await dropAll();
    return null;
  }
  await drop((kept) => kept.owner !== owner);
  return { owner, until };
}

async function keepPage(url, res) {
  const whose = await heed(res);
  if (!whose || res.status !== 200 || !works.includes(url.pathname) || url.search) return;
  const html = await res.text();
  const [, clock] = / data-clock="([^"]*)"/.exec(html);
  const [, now] = / data-now="([^"]*)"/.exec(html);
  const [, mark] = / data-mark="([^"]*)"/.exec(html);
  await put(pageName(url.pathname), html, { ...whose, clock, skew: Number(now) - Date.now(), mark, at: Date.now(), policy: res.headers.get('Content-Security-Policy') });
  const cache = await caches.open(shelf);
  await cache.delete(seenName(url.pathname));
  const files = html.match(/\/static\/[\w.-]+\?v=\w+/g).map((f) => new URL(f, location.origin).href);
  const named = files.map((f) => new URL(f).pathname);
  for (const key of await cache.keys()) {
    if (isFile(key.url) && named.includes(new URL(key.url).pathname) && !files.includes(key.url)) await cache.delete(key); // of an older version
  }
  for (const f of files) if (!(await cache.match(f))) await cache.add(f);
}

// keepView is told by an open page what it shows now, and now and then that this
// is still so.
async function keepView({ path, owner, mark, clock, view }) {
  const kept = await (await caches.open(shelf)).match(pageName(path));
  if (!kept) return;
  const was = about(kept);
  if (was.owner !== owner || Number(was.until) <= Date.now()) return;
  const now = { ...was, clock: clock || was.clock, at: Date.now() };
  if (view === undefined) {
    await put(seenName(path), '', now);
    return;
  }
  const html = await kept.text();
  const from = html.indexOf('>', html.indexOf('<div id="view"')) + 1;
  const to = html.lastIndexOf('</div>\n</main>');
  if (from < 1 || to < from) return;
  // The page asks the stream for what is new since this mark.
  const marked = (part) => part.replaceAll(was.mark, mark);
  await put(pageName(path), marked(html.slice(0, from)) + view + marked(html.slice(to)), { ...now, mark });
  await (await caches.open(shelf)).delete(seenName(path));
}

// keptPage gives a page as it last was, which says of itself how old it is.
async function keptPage(path) {
  await turn;
  await dropOver();
  const cache = await caches.open(shelf);
  const kept = await cache.match(pageName(path));
  if (!kept) return null;
  const { clock, skew, at } = about((await cache.match(seenName(path))) || kept);
  const age = Math.max(0, Math.round((Date.now() - Number(at)) / 1000));
  const html = (await kept.text())
    .replace('<body ', () => `<body data-since="${clock}" data-age="${age}" data-skew="${skew}" `)
    .replace('<div id="offline" role="alert" hidden>', '<div id="offline" role="alert">')
    .replace(/(<div id="notice"[^>]*>)[\s\S]*?(<\/div>)/, '$1$2'); // what was said then is over
  return new Response(html, { headers: { 'Content-Type': 'text/html; charset=utf-8', 'Content-Security-Policy': about(kept).policy } });
}

async function answer(e, url) {
  const net = fetch(e.request);
  e.waitUntil(net.then((res) => {
    const copy = res.clone();
    return inTurn(() => keepPage(url, copy));
  }, () => {}));
  if (!works.includes(url.pathname)) return net;
  let res = null;
  try {
    res = await Promise.race([net, new Promise((_, no) => { setTimeout(no, patience); })]);
    if (![502, 503, 504].includes(res.status)) return res;
  } catch { /* no line, or none worth the name */ }
  return (await keptPage(url.pathname)) || res || net;
}

self.addEventListener('install', () => { self.skipWaiting(); });
self.addEventListener('activate', (e) => e.waitUntil((async () => {
  for (const name of await caches.keys()) if (name !== shelf) await caches.delete(name);
  await dropOver();
  await self.clients.claim();
})()));

self.addEventListener('fetch', (e) => {
  const url = new URL(e.request.url);
  if (url.origin !== location.origin) return;
  if (e.request.mode === 'navigate') {
    if (url.pathname === '/sign-out') e.waitUntil(inTurn(dropAll)); // with or without a line
    if (e.request.method === 'GET') e.respondWith(answer(e, url));
  } else if (e.request.method === 'GET' && isFile(url) && url.search) {
    e.respondWith(caches.match(e.request).then((kept) => kept || fetch(e.request)));
  }
});

self.addEventListener('message', (e) => {
  const m = e.data;
  e.waitUntil(inTurn(async () => {
    if (m.forget) await dropAll();
    else if (m.load) { // the page that brought this worker here came before it
      if (works.includes(m.load) && !(await (await caches.open(shelf)).match(pageName(m.load)))) {
        await keepPage(new URL(m.load, location.origin), await fetch(m.load, { headers: { 'Passbell-Keep': '1' } }));
      }
    } else if (works.includes(m.path)) await keepView(m);
  }));
});
