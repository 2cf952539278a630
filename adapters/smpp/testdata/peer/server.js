// A message centre made with the npm package smpp. It is driven by lines of JSON
// on standard input and tells what happens in lines of JSON on standard output,
// each before the peer can know of it, so that a kill loses no line.
//
// node server.js PORT FIRST_ID [quiet]
//
// in:  {"cmd":"inbound","id":"in-1","from":"447700900123","to":"447700900999","text":"HERE"}
//      {"cmd":"inbound",...,"parts":["...","..."],"ref":7}
//      {"cmd":"receipt","id":"1A2B","to":"447700900123"}
// out: {"ev":"listening","port":2775}
//      {"ev":"submit","id":"1A2B","to":"447700900123","text":"...","udh":"0003..."}
//      {"ev":"acked","id":"in-1"} {"ev":"receipted","id":"1A2B"} {"ev":"bound","mode":"bind_transceiver"}
'use strict';

const readline = require('readline');
const smpp = require('smpp');

const port = Number(process.argv[2] || 0);
let next = Number(process.argv[3] || 1);
const quiet = process.argv[4] === 'quiet';

const receivers = new Set();
const waiting = [];

function say(event) {
  if (!quiet) process.stdout.write(JSON.stringify(event) + '\n');
}

function deliver(item) {
  const session = receivers.values().next().value;
  if (!session) {
    waiting.push(item);
    return;
  }
  session.deliver_sm(item.pdu(), (resp) => {
    if (resp.command_status === 0) {
      say(item.done);
    } else {
      setTimeout(() => deliver(item), 20);
    }
  });
}

// The ids of the answers are hexadecimal, those of the receipts decimal.
function receipt(id, to) {
  const text = 'id:' + parseInt(id, 16) + ' sub:001 dlvrd:001 submit date:2603131700 ' +
    'done date:2603131701 stat:DELIVRD err:000 text:Larkfield';
  deliver({
    done: { ev: 'receipted', id },
    pdu: () => ({
      esm_class: 4, source_addr_ton: 1, source_addr_npi: 1, source_addr: to,
      destination_addr: 'LARKFIELD', short_message: text,
    }),
  });
}

function inbound(cmd) {
  const base = {
    source_addr_ton: 1, source_addr_npi: 1, source_addr: cmd.from,
    dest_addr_ton: 1, dest_addr_npi: 1, destination_addr: cmd.to,
  };
  const parts = cmd.parts || [cmd.text];
  let left = parts.length;
  parts.forEach((text, i) => {
    const udh = Buffer.from([5, 0, 3, cmd.ref & 255, parts.length, i + 1]);
    deliver({
      get done() { return --left === 0 ? { ev: 'acked', id: cmd.id } : { ev: 'part', id: cmd.id }; },
      pdu: () => Object.assign({}, base, parts.length > 1
        ? { esm_class: 0x40, short_message: { udh, message: text } }
        : { short_message: text }),
    });
  });
}

const server = smpp.createServer((session) => {
  const bind = (pdu) => {
    session.send(pdu.response({ system_id: 'centre' }));
    say({ ev: 'bound', mode: pdu.command });
    if (pdu.command !== 'bind_transmitter') {
      receivers.add(session);
      waiting.splice(0).forEach(deliver);
    }
  };
  session.on('bind_transceiver', bind);
  session.on('bind_receiver', bind);
  session.on('bind_transmitter', bind);
  session.on('unbind', (pdu) => {
    receivers.delete(session);
    session.send(pdu.response());
    session.close();
  });
  session.on('enquire_link', (pdu) => session.send(pdu.response()));
  session.on('submit_sm', (pdu) => {
    const id = (next++).toString(16).toUpperCase().padStart(8, '0');
    if (!quiet) {
      const m = pdu.short_message;
      say({
        ev: 'submit', id, to: pdu.destination_addr, text: m.message,
        udh: m.udh ? m.udh[0].toString('hex') : '', // the first element alone
      });
    }
    session.send(pdu.response({ message_id: id }));
    if (pdu.registered_delivery && !quiet) {
      setTimeout(() => receipt(id, pdu.destination_addr), 5);
    }
  });
  session.on('close', () => receivers.delete(session));
  session.on('error', () => receivers.delete(session));
});

server.listen(port, '127.0.0.1', () => {
  process.stdout.write(JSON.stringify({ ev: 'listening', port: server.address().port }) + '\n');
});

readline.createInterface({ input: process.stdin }).on('line', (line) => {
  const cmd = JSON.parse(line);
  if (cmd.cmd === 'inbound') inbound(cmd);
  if (cmd.cmd === 'receipt') receipt(cmd.id, cmd.to);
}).on('close', () => process.exit(0));
