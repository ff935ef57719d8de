//! Pairs of which none is better than another in both figures.

/// Indices of the points that no other point beats, by falling first figure (both figures: more is better). Of equal points the
/// first stays. Points that are not finite never do.
///
/// Sorted by the first figure, a point belongs to the front when its second figure exceeds all before it: one pass.
pub fn front(points: &[[f64; 2]]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..points.len())
        .filter(|&i| points[i].iter().all(|x| x.is_finite()))
        .collect();
    order.sort_by(|&a, &b| {
        points[b][0]
            .total_cmp(&points[a][0])
            .then(points[b][1].total_cmp(&points[a][1]))
            .then(a.cmp(&b))
    });
    let mut best = f64::NEG_INFINITY;
    order.retain(|&i| {
        let on = points[i][1] > best;
        if on {
            best = points[i][1];
        }
        on
    });
    order
}

/// At most `n` of the points of a front, both ends among them, as evenly along it as its points allow (in figures scaled by
/// their own range); and with them the one with the greatest sum.
pub fn spread_along(points: &[[f64; 2]], front: &[usize], n: usize) -> Vec<usize> {
    if front.len() <= n.max(2) {
        return front.to_vec();
    }
    let range = |k: usize| {
        let all = front.iter().map(|&i| points[i][k]);
        let (lo, hi) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| {
            (a.min(x), b.max(x))
        });
        (hi - lo).max(1e-12)
    };
    let scale = [range(0), range(1)];
    let mut along = Vec::with_capacity(front.len());
    let mut s = 0.0;
    let mut last: Option<usize> = None;
    for &i in front {
        if let Some(l) = last {
            let d = |k: usize| (points[i][k] - points[l][k]) / scale[k];
            s += d(0).hypot(d(1));
        }
        along.push(s);
        last = Some(i);
    }
    let sum = |i: usize| points[i][0] + points[i][1];
    let mut kept: Vec<usize> = (0..n.max(2))
        .map(|k| s * k as f64 / (n.max(2) - 1) as f64)
        .filter_map(|at| {
            (0..front.len()).min_by(|&a, &b| {
                (along[a] - at)
                    .abs()
                    .total_cmp(&(along[b] - at).abs())
                    .then(a.cmp(&b))
            })
        })
        .collect();
    kept.sort_unstable();
    kept.dedup();
    let best =
        (0..front.len()).max_by(|&a, &b| sum(front[a]).total_cmp(&sum(front[b])).then(b.cmp(&a)));
    if let Some(b) = best
        && !kept.contains(&b)
    {
        // in the place of its nearest neighbour that is no end
        let inner = 1..kept.len().saturating_sub(1);
        match inner.min_by_key(|&k| kept[k].abs_diff(b)) {
            Some(k) => kept[k] = b,
            None => kept.push(b),
        }
        kept.sort_unstable();
        kept.dedup();
    }
    kept.into_iter().map(|k| front[k]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_known_front() {
        let p = [
            [1.0, 5.0],
            [3.0, 3.0],
            [2.0, 2.0],
            [5.0, 1.0],
            [3.0, 3.0],
            [5.0, 0.5],
            [f64::NAN, 9.0],
        ];
        assert_eq!(front(&p), [3, 1, 0]);
        assert_eq!(front(&[]), Vec::<usize>::new());
    }

    proptest! {
        #[test]
        fn nobody_on_the_front_is_beaten_and_everybody_else_is(
            p in prop::collection::vec([-9i32..9, -9i32..9], 0..40)
        ) {
            let p: Vec<[f64; 2]> = p.into_iter().map(|[a, b]| [a.into(), b.into()]).collect();
            let f = front(&p);
            let beats = |a: [f64; 2], b: [f64; 2]| a[0] >= b[0] && a[1] >= b[1] && a != b;
            for i in 0..p.len() {
                let beaten = p.iter().any(|q| beats(*q, p[i]));
                let equal = f.iter().any(|&k| p[k] == p[i]);
                prop_assert_eq!(equal, !beaten);
            }
            for n in 2..8 {
                let few = spread_along(&p, &f, n);
                prop_assert!(few.len() <= n.max(3) && few.iter().all(|i| f.contains(i)));
                prop_assert_eq!(few.first(), f.first());
                prop_assert_eq!(few.last(), f.last());
                let sum = |i: &usize| p[*i][0] + p[*i][1];
                let most = |v: &[usize]| v.iter().map(sum).fold(f64::NEG_INFINITY, f64::max);
                prop_assert_eq!(most(&few), most(&f));
            }
        }
    }
}
