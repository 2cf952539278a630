// Writes verdicts.csv: what libphonenumber-js (1.13.16, its "max" tables) makes of
// numbers of ten countries in many spellings. Run it in a folder where that
// package is installed:
//   npm install libphonenumber-js@1.13.16 && node verdicts.mjs > verdicts.csv
// The numbers are the library's own examples and ranges reserved for fiction.
import { createRequire } from 'node:module';
const require = createRequire(process.cwd() + '/');
const lib = require('libphonenumber-js/max');
const examples = require('libphonenumber-js/mobile/examples');

const countries = {
  GB: { code: '44', trunk: '0', more: ['7700900000', '7700900123', '7700900999', '2079460123', '1174960123', '1632960123', '8081570123', '7012345678', '7911123456'] },
  IE: { code: '353', trunk: '0', more: ['209101234', '850123456', '14567890'] },
  US: { code: '1', trunk: '1', more: ['2025550100', '2025550199', '6015550139', '3125550142', '8005550199', '9005550123'] },
  CA: { code: '1', trunk: '1', more: ['4165550123', '6045550150', '8675550101'] },
  AU: { code: '61', trunk: '0', more: ['491570006', '491570156', '255501234', '1800160401', '1300975707'] },
  DE: { code: '49', trunk: '0', more: ['15123456789', '17139200', '1713920012', '3023125000'] },
  FR: { code: '33', trunk: '0', more: ['639981234', '199001234', '612345678'] },
  ES: { code: '34', trunk: '', more: ['612345678', '810123456'] },
  SE: { code: '46', trunk: '0', more: ['701740605', '701740699', '701234567'] },
  NZ: { code: '64', trunk: '0', more: ['211234567', '32345678', '800123456'] },
};

const spellings = {
  'E.164': (c, n) => `+${c.code}${n}`,
  'national': (c, n) => c.trunk === '1' ? n : c.trunk + n,
  'national in groups': (c, n) => `${c.trunk === '1' ? '' : c.trunk}${n.slice(0, 3)} ${n.slice(3, 6)} ${n.slice(6)}`,
  'brackets and hyphens': (c, n) => `(${c.trunk === '1' ? '' : c.trunk}${n.slice(0, 3)}) ${n.slice(3, 6)}-${n.slice(6)}`,
  'nought in brackets': (c, n) => `+${c.code} (0)${n.slice(0, 4)} ${n.slice(4)}`,
  'nought after the code': (c, n) => `+${c.code}0${n}`,
  'double nought': (c, n) => `00${c.code}${n}`,
  'code without plus': (c, n) => `${c.code}${n}`,
  'trunk lost': (c, n) => n,
  'fraction': (c, n) => `${n}.0`,
  'apostrophe': (c, n) => `'+${c.code}${n}`,
  'dots': (c, n) => `+${c.code}.${n.slice(0, 3)}.${n.slice(3, 6)}.${n.slice(6)}`,
  'label': (c, n) => `Tel: ${c.trunk === '1' ? '' : c.trunk}${n}`,
  'last digit missing': (c, n) => `${c.trunk === '1' ? '' : c.trunk}${n.slice(0, -1)}`,
  'three digits too many': (c, n) => `${c.trunk === '1' ? '' : c.trunk}${n}123`,
};

const quote = (s) => (/[",]/.test(s) ? `"${s.replaceAll('"', '""')}"` : s);
console.log('region,spelling,typed,e164,valid,type');
for (const [region, c] of Object.entries(countries)) {
  const numbers = new Set([examples[region], ...c.more]);
  for (const n of numbers) {
    for (const [spelling, write] of Object.entries(spellings)) {
      const typed = write(c, n);
      const p = lib.parsePhoneNumberFromString(typed, region);
      const row = [region, spelling, typed, p ? p.number : '', p ? p.isValid() : false, p ? p.getType() ?? '' : ''];
      console.log(row.map((x) => quote(String(x))).join(','));
    }
  }
}
