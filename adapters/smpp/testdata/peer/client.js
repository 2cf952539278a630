// The npm package's own client, for the comparison of speed.
//
// node client.js PORT COUNT WINDOW
//
// It submits COUNT texts with WINDOW of them unanswered and writes one line of
// JSON: how many, how many milliseconds, and its memory in octets.
'use strict';

const smpp = require('smpp');

const [port, count, window] = process.argv.slice(2, 5).map(Number);
const session = smpp.connect({ host: '127.0.0.1', port });

session.on('error', (e) => {
  process.stderr.write(String(e) + '\n');
  process.exit(1);
});

session.bind_transceiver({ system_id: 'larkfield', password: 'dumplin8' }, (bound) => {
  if (bound.command_status !== 0) process.exit(1);
  let sent = 0;
  let answered = 0;
  const started = process.hrtime.bigint();
  const submit = () => {
    const n = sent++;
    session.submit_sm({
      source_addr_ton: 5, source_addr_npi: 0, source_addr: 'LARKFIELD',
      dest_addr_ton: 1, dest_addr_npi: 1, destination_addr: '447700900' + String(n % 1000).padStart(3, '0'),
      registered_delivery: 1,
      short_message: 'Larkfield Dumpling Kitchen: order K' + n + ' is ready at 17:10, park by the green gate.',
    }, (resp) => {
      if (resp.command_status !== 0) process.exit(1);
      answered++;
      if (sent < count) {
        submit();
      } else if (answered === count) {
        const ms = Number(process.hrtime.bigint() - started) / 1e6;
        process.stdout.write(JSON.stringify({ count, ms, rss: process.memoryUsage().rss }) + '\n');
        session.unbind(() => session.close());
      }
    });
  };
  while (sent < Math.min(window, count)) submit();
});
