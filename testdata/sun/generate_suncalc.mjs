// Writes sun_suncalc.csv: sun heights and light events by suncalc 2.0.2
// (npm). Run by hand when the table is to be made again; the tests read the
// table only.
import {getPosition, getTimes} from 'suncalc';

const places = [[-60, -150], [-35, 139], [0, 0], [20, -74], [40, -105], [52, 13], [60, 25], [65, -147], [69.65, 18.96]];
const first = Date.UTC(2026, 0, 5);
const day = 86400e3;

// suncalc gives the apparent height; take its refraction off again
// (Meeus, Astronomical Algorithms, formula 16.4, held constant below 0).
function refraction(h) {
    const x = Math.max(h, 0);
    return 1.02 / Math.tan((x + 10.3 / (x + 5.11)) * Math.PI / 180) / 60;
}
function trueHeight(apparent) {
    let h = apparent;
    for (let i = 0; i < 50; i++) h = apparent - refraction(h);
    return h;
}
const iso = t => new Date(Math.round(t / 1000) * 1000).toISOString().replace('.000Z', 'Z');

const out = ['latitude,longitude,time,event,height_deg'];
places.forEach(([lat, lon], i) => {
    for (let k = 0; k < 24; k++) {
        const t = new Date(Math.round((first + 30.437 * day * k + ((7 * k + 5 * i) % 24) * 3600e3) / 1000) * 1000);
        out.push([lat, lon, iso(t), 'height', trueHeight(getPosition(t, lat, lon).altitude).toFixed(4)].join(','));
    }
    for (let k = 0; k < 12; k++) {
        const e = getTimes(new Date(first + 30.437 * day * k + day / 2), lat, lon);
        for (const [name, t] of [['first_light', e.dawn], ['sunrise', e.sunrise], ['sunset', e.sunset], ['last_light', e.dusk]]) {
            if (t && !Number.isNaN(t.valueOf())) out.push([lat, lon, iso(t), name, ''].join(','));
        }
    }
});
console.log(out.join('\n'));
