//! Ways through a house: what can be reached while rooms are closed, and in what order the rooms of a phase are coated.
//!
//! A house is its places and the doorways between them; some lead outside. Sets of places are bits, so that whether
//! somebody can still reach the bath is a handful of instructions, asked for every set of rooms that might be closed.

use thiserror::Error;

use crate::trade::RoomId;

/// Most places of a house: its sets are bits of a word.
pub const MOST_PLACES: usize = 64;

/// A set of places of one house.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Places(pub(super) u64);

impl Places {
    /// No place.
    pub const NONE: Places = Places(0);

    /// Returns the set of one place, by its number in the house.
    pub const fn one(place: usize) -> Places {
        Places(1 << place)
    }

    /// Returns the set of so many places, from the first one on.
    pub fn first(count: usize) -> Places {
        (0..count).fold(Places::NONE, |all, place| all.with(Places::one(place)))
    }

    /// Tells whether a place is in the set.
    pub const fn has(self, place: usize) -> bool {
        self.0 >> place & 1 == 1
    }

    /// Returns how many places are in the set.
    pub const fn count(self) -> u32 {
        self.0.count_ones()
    }

    /// Tells whether nothing is in the set.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Returns the places of both sets.
    #[must_use]
    pub const fn with(self, other: Places) -> Places {
        Places(self.0 | other.0)
    }

    /// Returns the places of this set that aren't in the other.
    #[must_use]
    pub const fn without(self, other: Places) -> Places {
        Places(self.0 & !other.0)
    }

    /// Returns the places that are in both sets.
    #[must_use]
    pub const fn shared(self, other: Places) -> Places {
        Places(self.0 & other.0)
    }

    /// Returns these with every group that shares a place with them, or with a group that does.
    #[must_use]
    pub fn with_groups(self, groups: &[Places]) -> Places {
        let touched = groups.iter().filter(|group| !group.shared(self).is_empty());
        let wider = touched.fold(self, |wider, group| wider.with(*group));
        match wider == self {
            true => self,
            false => wider.with_groups(groups),
        }
    }

    /// Tells whether every place of this set is in the other.
    pub const fn is_within(self, other: Places) -> bool {
        self.0 & !other.0 == 0
    }

    /// Returns the numbers of the places, in rising order.
    pub fn numbers(self) -> impl Iterator<Item = usize> {
        let mut left = self.0;
        std::iter::from_fn(move || {
            (left != 0).then(|| {
                let place = left.trailing_zeros() as usize;
                left &= left - 1;
                place
            })
        })
    }
}

impl FromIterator<usize> for Places {
    fn from_iter<I: IntoIterator<Item = usize>>(places: I) -> Places {
        Places(
            places
                .into_iter()
                .fold(0, |places, place| places | 1 << place),
        )
    }
}

/// A room, or a place that is only a way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// Identity in the ledger.
    pub id: RoomId,
    /// Its name.
    pub name: String,
    /// Whether its floor is to be done.
    pub refinished: bool,
}

/// Why a house can't be planned.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum HouseError {
    /// Too many places.
    #[error("a house of {0} rooms is more than can be planned at once; {MOST_PLACES} can")]
    TooLarge(usize),
    /// Nothing to do.
    #[error("no room of this house is to be refinished")]
    NothingToDo,
    /// Somebody would be painted into a corner wherever they start.
    #[error("`{0}` has no way out of the house, not even through other rooms")]
    NoWayOut(String),
}

/// A house: its places, and how one gets from one to the other.
#[derive(Clone, Debug)]
pub struct House {
    places: Vec<Place>,
    /// Between which places one can walk; `None` is the outside.
    doorways: Vec<(usize, Option<usize>)>,
    /// What each place has a doorway to.
    beyond: Vec<Places>,
    /// The places with a doorway to the outside.
    outside: Places,
}

impl House {
    /// Builds a house of places and the doorways between them, by their numbers; `None` is the outside.
    ///
    /// # Errors
    /// Refuses a house of too many places, one with nothing to refinish, and rooms to be done without any way out.
    pub fn new(
        places: Vec<Place>,
        doorways: &[(usize, Option<usize>)],
    ) -> Result<House, HouseError> {
        if places.len() > MOST_PLACES {
            return Err(HouseError::TooLarge(places.len()));
        }
        let mut house = House {
            beyond: vec![Places::NONE; places.len()],
            outside: Places::NONE,
            doorways: doorways.to_vec(),
            places,
        };
        if house.refinished().is_empty() {
            return Err(HouseError::NothingToDo);
        }
        for (from, to) in doorways {
            match to {
                None => house.outside = house.outside.with(Places::one(*from)),
                Some(to) => {
                    house.beyond[*from] = house.beyond[*from].with(Places::one(*to));
                    house.beyond[*to] = house.beyond[*to].with(Places::one(*from));
                }
            }
        }
        let reached = house.reachable(Places::NONE);
        match house.refinished().without(reached).numbers().next() {
            Some(place) => Err(HouseError::NoWayOut(house.places[place].name.clone())),
            None => Ok(house),
        }
    }

    /// Returns its places.
    pub fn places(&self) -> &[Place] {
        &self.places
    }

    /// Returns its doorways, by the numbers of the places; `None` is the outside.
    pub fn doorways(&self) -> &[(usize, Option<usize>)] {
        &self.doorways
    }

    /// Returns the places whose floors are to be done.
    pub fn refinished(&self) -> Places {
        let places = self.places.iter().enumerate();
        places
            .filter(|(_, place)| place.refinished)
            .map(|(number, _)| number)
            .collect()
    }

    /// Returns the places that can be reached from outside without crossing a closed one.
    pub fn reachable(&self, closed: Places) -> Places {
        let mut reached = self.outside.without(closed);
        let mut fresh = reached;
        while !fresh.is_empty() {
            fresh = self.next_to(fresh).without(closed).without(reached);
            reached = reached.with(fresh);
        }
        reached
    }

    /// Returns everything that these places have a doorway to.
    fn next_to(&self, places: Places) -> Places {
        let places = places.numbers();
        places.fold(Places::NONE, |next, place| next.with(self.beyond[place]))
    }

    /// Returns the order in which the rooms of a phase are coated, and the way out at the end.
    ///
    /// Whoever coats a room leaves it through rooms that aren't coated yet, so the rooms farthest from the way out come
    /// first. Every room of a house has a way out, so there is always such an order.
    pub fn coating_order(&self, phase: Places) -> WayOut {
        // Backwards: the last room is next to the open part of the house, or to the outside.
        let mut backwards: Vec<usize> = Vec::new();
        let mut wet = phase;
        loop {
            let open = self.reachable(wet);
            let next = wet
                .numbers()
                .filter(|place| {
                    self.outside.has(*place) || !self.beyond[*place].shared(open).is_empty()
                })
                .collect::<Places>();
            if next.is_empty() {
                break;
            }
            // Deeper rooms are found in later rounds, and coated before; among equals the order of the house holds.
            let mut round: Vec<usize> = next.numbers().collect();
            round.reverse();
            backwards.extend(round);
            wet = wet.without(next);
        }
        let last = backwards.first().copied();
        let exit = last.map_or(0, |last| self.way_to_outside(last, phase));
        backwards.reverse();
        WayOut {
            order: backwards,
            exit,
        }
    }

    /// Returns the place through whose outside door one leaves from a room, over places that aren't in the phase; the
    /// nearest one.
    fn way_to_outside(&self, from: usize, phase: Places) -> usize {
        let mut seen = Places::one(from);
        let mut round = seen;
        while !round.is_empty() {
            if let Some(exit) = round.shared(self.outside).numbers().next() {
                return exit;
            }
            round = self.next_to(round).without(seen).without(phase);
            seen = seen.with(round);
        }
        from
    }

    /// Returns the names of places, as they are listed in a sentence.
    pub fn names(&self, places: Places) -> String {
        let names: Vec<&str> = places
            .numbers()
            .map(|place| self.places[place].name.as_str())
            .collect();
        and(&names)
    }
}

/// Lists words in a sentence: `Hall, Stair and Bath`.
pub(super) fn and(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// In what order rooms are coated, so that nobody is shut in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WayOut {
    /// The rooms, the first to be coated first.
    pub order: Vec<usize>,
    /// The place through whose outside door one leaves in the end.
    pub exit: usize,
}

/// Places that must stay in use at home: at least so many of them can be reached every night.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Keep {
    /// The places.
    pub places: Places,
    /// How many of them.
    pub least: u32,
}

impl Keep {
    /// Tells whether it holds while those places can be reached.
    pub const fn holds(&self, reachable: Places) -> bool {
        self.places.shared(reachable).count() >= self.least
    }

    /// Says what must stay in use: `Bath`, `one of Bedroom 1 and Bedroom 2`.
    pub fn words(&self, house: &House) -> String {
        let names = house.names(self.places);
        if self.least == self.places.count() {
            return names;
        }
        format!("{} of {names}", super::number_word(self.least))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn house(names: &[&str], doorways: &[(usize, Option<usize>)]) -> Result<House, HouseError> {
        let places = (1..).zip(names).map(|(id, name)| Place {
            id: RoomId(id),
            name: (*name).to_owned(),
            refinished: true,
        });
        House::new(places.collect(), doorways)
    }

    #[test]
    fn nobody_is_painted_into_a_corner() {
        // A hall with the only door; a bedroom and a dressing room behind it.
        let doorways = [(0, None), (0, Some(1)), (1, Some(2))];
        let house = house(&["Hall", "Bedroom", "Dressing room"], &doorways).unwrap();
        let out = house.coating_order(Places(0b111));
        assert_eq!(out.order, [2, 1, 0]);
        assert_eq!(out.exit, 0);
        // With the hall open, one leaves through it.
        let out = house.coating_order(Places(0b110));
        assert_eq!((out.order.as_slice(), out.exit), ([2, 1].as_slice(), 0));
        assert_eq!(house.reachable(Places(0b010)), Places(0b001));
    }

    #[test]
    fn a_room_without_a_way_out_is_named() {
        let error = house(&["Hall", "Attic"], &[(0, None)]).unwrap_err();
        assert_eq!(error, HouseError::NoWayOut("Attic".to_owned()));
        assert_eq!(
            house(&[], &[]).unwrap_err().to_string(),
            "no room of this house is to be refinished"
        );
    }

    proptest! {
        #[test]
        fn every_room_is_left_through_rooms_that_are_not_coated_yet(
            links in proptest::collection::vec(0_usize..8, 7),
            more in proptest::collection::vec((0_usize..8, 0_usize..8), 0..5),
            outside in 0_usize..8,
            phase in 1_u64..256,
        ) {
            // A tree of 8 rooms with some doorways more.
            let mut doorways: Vec<(usize, Option<usize>)> = vec![(outside, None)];
            doorways.extend((1..8).map(|room| (room, Some(links[room - 1] % room))));
            doorways.extend(more.into_iter().filter(|(from, to)| from != to).map(|(from, to)| (from, Some(to))));
            let house = house(&["a", "b", "c", "d", "e", "f", "g", "h"], &doorways).unwrap();
            let phase = Places(phase);
            let out = house.coating_order(phase);
            prop_assert_eq!(out.order.iter().copied().collect::<Places>(), phase);
            prop_assert_eq!(out.order.len(), phase.count() as usize);
            let mut coated = Places::NONE;
            for room in out.order {
                // Whoever stands in this room can still get outside, and the room itself is coated on the way out.
                prop_assert!(house.reachable(coated).has(room), "{room} after {coated:?}");
                coated = coated.with(Places::one(room));
            }
        }
    }
}
