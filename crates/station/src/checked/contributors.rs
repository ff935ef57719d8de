//! Walks a station and lists its contributors.

use super::*;
use slantpath_quantity::Contributor;

struct List<'a>(Vec<&'a Contributor>);

impl<'a> List<'a> {
    fn put(&mut self, c: &'a Contributor) {
        self.0.push(c);
    }
    fn maybe(&mut self, c: &'a Option<Contributor>) {
        self.0.extend(c.iter());
    }
    fn all(&mut self, cs: impl IntoIterator<Item = &'a Contributor>) {
        self.0.extend(cs);
    }
}

pub(super) fn of_station(s: &Station) -> Vec<&Contributor> {
    let mut l = List(of_satellite(&s.satellite));
    site(&mut l, &s.site);
    reflector(&mut l, &s.reflector);
    feed(&mut l, &s.feed);
    for node in &s.receive.nodes {
        part(&mut l, &node.part);
    }
    for b in &s.receive.branches {
        match &b.switched {
            Some(s) => l.all([&s.vertical, &s.horizontal]),
            None => l.maybe(&b.volts),
        }
    }
    if let Some(t) = &s.transmit {
        for p in &t.chain {
            part(&mut l, p);
        }
        for g in &t.segments {
            match &g.level {
                TransmitLevel::AmplifierOutput(c) | TransmitLevel::TransmitterOutput(c) => l.put(c),
            }
            l.put(&g.duty);
        }
    }
    if let Some(p) = &s.supply {
        l.put(&p.volts);
        l.maybe(&p.max_current);
        l.put(&p.cable_resistance);
        l.maybe(&p.battery);
    }
    if let Some(c) = &s.cooling {
        l.all([&c.sink, &c.sink_time, &c.device]);
        l.maybe(&c.cabinet);
        l.maybe(&c.cabinet_time);
        l.all([&c.limit, &c.ambient]);
    }
    l.0
}

pub(super) fn of_satellite(s: &Satellite) -> Vec<&Contributor> {
    let mut l = List(vec![&s.polarisation_tilt]);
    for p in &s.passbands {
        l.all([&p.saturated_eirp, &p.g_over_t, &p.noise_density]);
        l.all(p.beacons.iter().map(|b| &b.eirp));
    }
    l.0
}

fn site<'a>(l: &mut List<'a>, s: &'a Site) {
    l.all([&s.height, &s.height_above_ground]);
    let c = &s.climate;
    for v in [
        &c.rain_rate_001,
        &c.rain_height,
        &c.temperature,
        &c.pressure,
        &c.vapour_density,
        &c.vapour_column,
        &c.cloud_liquid,
        &c.wet_refractivity,
    ] {
        l.maybe(v);
    }
    l.all([&s.ground_temperature, &s.footprint_down, &s.footprint_up]);
}

fn reflector<'a>(l: &mut List<'a>, r: &'a Reflector) {
    l.all(r.shape.contributors());
    l.all([
        &r.surface_rms,
        &r.pointing_error,
        &r.reflection_loss_receive,
        &r.reflection_loss_transmit,
        &r.blockage.disc,
        &r.blockage.strut_width,
    ]);
}

fn feed<'a>(l: &mut List<'a>, f: &'a Feed) {
    l.all(f.radiator.iter().flat_map(|r| r.contributors()));
    l.all(f.receive.pattern.contributors());
    l.all([
        &f.receive.phase_centre.focus_error,
        &f.receive.phase_centre.lateral_error,
        &f.receive.cross_polar_isolation,
        &f.receive.ohmic_loss,
        &f.receive.return_loss,
    ]);
    let s = &f.receive.shadow;
    if !s.from_coil {
        l.all([&s.loss, &s.sees_sky, &s.sees_ground, &s.absorbed]);
    }
    if let Some(t) = &f.transmit {
        l.all(t.pattern.contributors());
        l.all([
            &t.phase_centre.focus_error,
            &t.phase_centre.lateral_error,
            &t.axial_ratio,
            &t.ohmic_loss,
            &t.return_loss,
        ]);
    }
    l.put(&f.skew_error);
    if let Some(c) = &f.cover {
        l.all([&c.thickness, &c.permittivity, &c.loss_tangent]);
    }
}

fn part<'a>(l: &mut List<'a>, p: &'a Part) {
    match &p.kind {
        PartKind::Lnb(x) => {
            l.all([
                &x.noise_figure,
                &x.gain,
                &x.lo_error,
                &x.lo_ppm_per_kelvin,
                &x.lo_wander_per_day,
            ]);
            if let LnbPolarisation::Switched { threshold } = &x.polarisation {
                l.put(threshold);
            }
            l.all([&x.min_volts, &x.max_volts, &x.current, &x.output_p1db]);
        }
        PartKind::Cable(x) => l.all([&x.loss_factor, &x.length, &x.resistance_per_m]),
        PartKind::Splitter(x) => l.all([&x.loss, &x.isolation]),
        PartKind::Connector(x) => l.put(&x.loss),
        PartKind::Attenuator(x) => {
            l.put(&x.loss);
            l.maybe(&x.max_input);
        }
        PartKind::Filter(x) => {
            l.put(&x.loss);
            l.maybe(&x.max_input);
        }
        PartKind::BiasTee(x) => {
            l.put(&x.loss);
            l.maybe(&x.volts);
            l.maybe(&x.max_current);
            l.put(&x.resistance);
        }
        PartKind::Amplifier(x) => {
            l.all([&x.gain, &x.noise_figure]);
            for v in [
                &x.p1db,
                &x.psat,
                &x.smoothness,
                &x.max_input,
                &x.max_reflected,
                &x.max_mean_power,
                &x.supply_volts,
                &x.current,
            ] {
                l.maybe(v);
            }
            l.all(x.efficiency.iter().map(|e| &e.efficiency));
        }
        PartKind::Receiver(x) => {
            l.all([&x.noise_figure, &x.bits, &x.full_scale]);
            l.maybe(&x.bias_volts);
            l.maybe(&x.mer_ceiling);
        }
        PartKind::Transmitter(x) => {
            l.all([&x.max_power, &x.frequency_error]);
            l.maybe(&x.bits);
            l.maybe(&x.own_mer);
            l.maybe(&x.max_reflected);
        }
    }
}
