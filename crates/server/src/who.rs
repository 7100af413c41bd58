//! Who asks, and what each role may do.

use axum::http::Method;
use records::{Role, User, UserId};

tokio::task_local! {
    /// Who asks for what is being answered, for the head of every page; set by the guard.
    pub(crate) static ASKS: String;
}

/// Who asks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Who {
    /// Whoever started the bench: at this computer while there are no people, or by the bench's passphrase.
    Owner,
    /// One of the people.
    Person(User),
}

impl Who {
    /// The user, for the log.
    pub(crate) fn user(&self) -> Option<UserId> {
        match self {
            Who::Owner => None,
            Who::Person(user) => Some(user.id),
        }
    }

    /// What it is called on a page; none for the owner.
    pub(crate) fn name(&self) -> Option<String> {
        match self {
            Who::Owner => None,
            Who::Person(user) => Some(format!("{}, {}", user.name, user.role.name())),
        }
    }

    /// Names it for the scripts of a page, which keep what was typed with who typed it.
    pub(crate) fn key(&self) -> String {
        match self {
            Who::Owner => "owner".to_owned(),
            Who::Person(user) => user.id.number().to_string(),
        }
    }

    fn is(&self, roles: &[Role]) -> bool {
        match self {
            Who::Owner => true,
            Who::Person(user) => roles.contains(&user.role),
        }
    }

    /// May it ask for this address of the router in this way?
    pub(crate) fn may(&self, method: &Method, address: &str) -> bool {
        let changes = !matches!(*method, Method::GET | Method::HEAD);
        let rule = RULES.iter().find(|r| (changes || r.looking_too) && r.covers(address));
        rule.is_none_or(|r| self.is(r.may))
    }

    /// May it write down who the customer is?
    pub(crate) fn may_name_customers(&self) -> bool {
        self.may(&Method::POST, "/jobs/{id}/customer")
    }

    /// May it sign a safety test off?
    pub(crate) fn may_sign(&self) -> bool {
        self.may(&Method::POST, "/jobs/{id}/sign")
    }

    /// May it say what was measured, seen and done at the machine?
    pub(crate) fn works_on_machines(&self) -> bool {
        self.is(&[Role::Technician, Role::Apprentice])
    }
}

/// An address that only some may use. What no rule names is open to all who are logged in.
struct Rule {
    /// The router's address; with `*` at its end, all that begin so.
    address: &'static str,
    /// Looking is kept to them as well, not only changing.
    looking_too: bool,
    may: &'static [Role],
}

const ANSWERS: &[Role] = &[Role::Technician];
const ANSWERS_OR_OFFICE: &[Role] = &[Role::Technician, Role::Office];

const RULES: [Rule; 12] = [
    Rule { address: "/settings/people*", looking_too: true, may: ANSWERS_OR_OFFICE },
    Rule { address: "/settings/data*", looking_too: true, may: ANSWERS_OR_OFFICE },
    Rule { address: "/settings*", looking_too: false, may: ANSWERS_OR_OFFICE },
    Rule { address: "/machines*", looking_too: false, may: ANSWERS },
    Rule { address: "/jobs/{id}/customer", looking_too: false, may: ANSWERS_OR_OFFICE },
    Rule { address: "/jobs/{id}/sign", looking_too: false, may: ANSWERS },
    Rule { address: "/jobs/{id}/handed-over", looking_too: false, may: ANSWERS },
    Rule { address: "/api/jobs/{id}/hand-over", looking_too: false, may: ANSWERS },
    Rule { address: "/jobs/{id}/correct", looking_too: false, may: ANSWERS },
    Rule { address: "/jobs/{id}/attached/{number}/erase", looking_too: false, may: ANSWERS },
    Rule { address: "/sockets", looking_too: false, may: ANSWERS },
    Rule { address: "/sockets/{id}/try", looking_too: false, may: ANSWERS },
];

impl Rule {
    fn covers(&self, address: &str) -> bool {
        match self.address.strip_suffix('*') {
            Some(begin) => address.starts_with(begin),
            None => address == self.address,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{RULES, Role, Who};
    use axum::http::Method;
    use records::{User, UserId};
    use std::collections::BTreeSet;
    use std::path::Path;

    /// The addresses that the program's text gives to a router, with the ways in which they can be asked.
    fn routed(folder: &Path, found: &mut BTreeSet<(String, [bool; 2])>) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                routed(&path, found);
                continue;
            }
            let text = std::fs::read_to_string(&path).unwrap();
            let text = text.split("#[cfg(test)]").next().unwrap_or_default();
            for call in text.split(".route(").skip(1) {
                let Some(address) = call.split('"').nth(1) else { continue };
                let ways =
                    call.split(".route(").next().unwrap_or_default().lines().next().unwrap_or_default();
                let ways =
                    if ways.contains(')') { ways.to_owned() } else { call.chars().take(300).collect() };
                found.insert((address.to_owned(), ["get(", "post("].map(|way| ways.contains(way))));
            }
        }
    }

    fn routes() -> BTreeSet<(String, [bool; 2])> {
        let mut found = BTreeSet::new();
        routed(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"), &mut found);
        found
    }

    #[test]
    fn every_rule_is_of_a_route() {
        let routes = routes();
        for rule in &RULES {
            assert!(
                routes.iter().any(|(address, _)| rule.covers(address)),
                "{} covers no route",
                rule.address
            );
        }
    }

    /// To be read as one text: who may send to which address. `UPDATE_EXPECTED=1` renews it.
    #[test]
    fn who_may_change_what() {
        let person = |role| Who::Person(User { id: UserId::of(1), name: "A".to_owned(), role });
        let all =
            [("technician", Role::Technician), ("office", Role::Office), ("apprentice", Role::Apprentice)]
                .map(|(name, role)| (name, person(role)));
        let mut told = String::new();
        for (address, [shown, posted]) in routes() {
            let may = |method: Method| {
                let may = all.iter().filter(|(_, who)| who.may(&method, &address));
                let names: Vec<&str> = may.map(|(name, _)| *name).collect();
                if names.len() == all.len() { "all".to_owned() } else { names.join(", ") }
            };
            assert!(Who::Owner.may(&Method::POST, &address));
            if posted {
                told.push_str(&format!("POST {address}: {}\n", may(Method::POST)));
            }
            if shown && may(Method::GET) != "all" {
                told.push_str(&format!("GET {address}: {}\n", may(Method::GET)));
            }
        }
        let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/expected/roles.txt");
        if std::env::var_os("UPDATE_EXPECTED").is_some() {
            std::fs::write(&file, &told).unwrap();
        }
        assert_eq!(told, std::fs::read_to_string(file).unwrap());
        let [(_, technician), (_, office), (_, apprentice)] = &all;
        assert!(
            technician.works_on_machines() && apprentice.works_on_machines() && !office.works_on_machines()
        );
    }
}
