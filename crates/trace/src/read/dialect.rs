//! How a file is written, from its first lines: delimiter, decimal mark, header, columns, time.

use super::Options;
use super::calendar::{self, DateOrder};
use super::cells::{self, MOST_COLUMNS};
use super::columns::{self, Column, Role};
use super::error::ReadError;
use super::foreign;
use super::source::text_of;
use super::summary::TimeFormat;

/// Delimiters in the order in which they are believed where two would do: a comma may be a decimal mark.
const DELIMITERS: [u8; 4] = [b';', b'\t', b'|', b','];

/// Lines looked at to find out how a file is written.
const LOOKED_AT: usize = 400;

/// How to read each line of a file.
#[derive(Debug, Clone)]
pub(super) struct Plan {
    pub(super) delimiter: u8,
    pub(super) point: u8,
    /// Lines before the first line of readings.
    pub(super) preamble: usize,
    pub(super) header_line: Option<usize>,
    pub(super) columns: Vec<Column>,
    /// None while day and month cannot be told apart.
    pub(super) time: Option<TimeFormat>,
    pub(super) notes: Vec<String>,
    pub(super) questions: Vec<String>,
}

impl Plan {
    /// The column with a role.
    pub(super) fn column(&self, role: Role) -> Option<&Column> {
        self.columns.iter().find(|c| c.role == role)
    }
}

/// The cells of one line.
type Row<'h> = Vec<&'h [u8]>;

/// The first lines, cut into cells by one delimiter.
struct Table<'h> {
    rows: Vec<Row<'h>>,
    /// The first row of readings.
    first: usize,
}

fn lines_of(head: &[u8]) -> impl Iterator<Item = &[u8]> {
    let end = if head.contains(&b'\n') { b'\n' } else { b'\r' };
    head.split(move |b| *b == end).map(|line| line.strip_suffix(b"\r").unwrap_or(line))
}

fn cut<'h>(line: &'h [u8], delimiter: u8, places: &mut Vec<(usize, usize)>) -> Row<'h> {
    cells::split(line, delimiter, places);
    places.iter().map(|&(from, to)| &line[from..to]).collect()
}

fn is_moment(cell: &[u8]) -> bool {
    let clock = calendar::clock(cell).is_some_and(|(_, rest)| rest.is_empty());
    clock
        || calendar::date_fields(cell)
            .is_some_and(|(_, rest)| rest.first().is_none_or(|b| !b.is_ascii_digit()))
}

fn is_data(row: &[&[u8]]) -> bool {
    row.iter().filter(|cell| cells::numeric(cell) || is_moment(cell)).count() >= 2
}

fn table(head: &[u8]) -> Result<(u8, Table<'_>), ReadError> {
    let mut places = Vec::new();
    let mut best: Option<(usize, u8, Vec<Row<'_>>)> = None;
    for delimiter in DELIMITERS {
        let rows: Vec<_> =
            lines_of(head).take(LOOKED_AT).map(|line| cut(line, delimiter, &mut places)).collect();
        let score = rows.iter().filter(|row| is_data(row)).count();
        if score > best.as_ref().map_or(0, |(most, ..)| *most) {
            best = Some((score, delimiter, rows));
        }
    }
    let Some((_, delimiter, rows)) = best else {
        return Err(foreign::no_table(head));
    };
    let first = rows.iter().position(|row| is_data(row)).unwrap_or(0);
    Ok((delimiter, Table { rows, first }))
}

/// Finds out how a file is written.
pub(super) fn sniff(head: &[u8], options: &Options) -> Result<Plan, ReadError> {
    let (delimiter, table) = table(head)?;
    let header = header(&table);
    let mut plan = Plan {
        delimiter,
        point: b'.',
        preamble: table.first,
        header_line: header.as_ref().map(|(line, _)| *line + 1),
        columns: Vec::new(),
        time: None,
        notes: Vec::new(),
        questions: Vec::new(),
    };
    let names = header.map_or_else(Vec::new, |(_, names)| names);
    plan.point = decimal_mark(&table, delimiter, &mut plan.questions);
    plan.columns = named_columns(&table, &names);
    if names.is_empty() {
        unnamed_roles(&table, &mut plan);
    }
    chosen(&mut plan.columns, options)?;
    settle_time(&table, &mut plan)?;
    guess_power(&table, &mut plan);
    settle_power(&mut plan)?;
    plan.time = time_format(&table, head, &mut plan, options)?;
    Ok(plan)
}

/// The line of the names and the names, with those of a line of units below it.
fn header(table: &Table<'_>) -> Option<(usize, Vec<String>)> {
    let wordy = |at: usize| {
        let row = &table.rows[at];
        let filled = row.iter().filter(|cell| !cell.is_empty()).count();
        (filled >= 2 && !row.iter().any(|cell| cells::numeric(cell) || is_moment(cell))).then_some(row)
    };
    let mut above = (0..table.first).rev().filter(|&at| table.rows[at].iter().any(|cell| !cell.is_empty()));
    let line = above.next()?;
    let texts = |row: &[&[u8]]| row.iter().map(|c| text_of(c)).collect::<Vec<String>>();
    let names = texts(wordy(line)?);
    let bare = |text: &str| text.trim_matches(['[', ']', '(', ')']).to_owned();
    let all_units = names.iter().all(|n| n.is_empty() || columns::unit(&bare(n)).is_some());
    if let (true, Some(upper)) = (all_units, above.next())
        && let Some(row) = wordy(upper)
    {
        let mut joined = texts(row);
        for (name, unit) in joined.iter_mut().zip(&names).filter(|(_, unit)| !unit.is_empty()) {
            *name = format!("{name} ({})", bare(unit));
        }
        return Some((upper, joined));
    }
    Some((line, names))
}

fn decimal_mark(table: &Table<'_>, delimiter: u8, questions: &mut Vec<String>) -> u8 {
    let (mut commas, mut dots, mut not_three) = (false, false, false);
    for cell in table.rows[table.first..].iter().flatten().filter(|c| cells::numeric(c) && !is_moment(c)) {
        let comma = cell.iter().rposition(|b| *b == b',');
        let dot = cell.iter().rposition(|b| *b == b'.');
        if let (Some(comma), Some(dot)) = (comma, dot) {
            return if comma > dot { b',' } else { b'.' };
        }
        commas |= comma.is_some();
        dots |= dot.is_some();
        let decimals = |at: usize| cell[at + 1..].iter().take_while(|b| b.is_ascii_digit()).count();
        not_three |= comma.is_some_and(|at| decimals(at) != 3 || cell.first() == Some(&b'0'));
    }
    if !commas || (dots && !not_three) || (delimiter == b',' && !not_three) {
        return b'.';
    }
    if !not_three {
        questions.push(
            "Is the comma in numbers like 1,234 a decimal mark? It was taken for one (about 1.2, not 1234)"
                .into(),
        );
    }
    b','
}

fn named_columns(table: &Table<'_>, names: &[String]) -> Vec<Column> {
    let count = table.rows[table.first].len().max(names.len()).min(MOST_COLUMNS);
    (0..count)
        .map(|index| {
            let name = names.get(index).cloned().unwrap_or_default();
            let (role, scale) = columns::role_of(&name);
            Column { name, index, role, scale }
        })
        .collect()
}

/// Without names: the time first, then power. What else there is stays unread, with the question.
fn unnamed_roles(table: &Table<'_>, plan: &mut Plan) {
    let row = &table.rows[table.first];
    let date_apart = row.len() > 2
        && calendar::date_fields(row[0]).is_some_and(|(_, rest)| rest.is_empty())
        && calendar::clock(row[1]).is_some();
    let power = if date_apart {
        plan.columns[0].role = Role::Date;
        plan.columns[1].role = Role::Time;
        2
    } else {
        plan.columns[0].role = Role::Time;
        1
    };
    if let Some(column) = plan.columns.get_mut(power) {
        column.role = Role::Power;
    }
    plan.questions.push(format!(
        "The columns have no names: is column {} the power in watts? It was taken for that{}",
        power + 1,
        if row.len() > power + 1 { ", and the columns after it were not read" } else { "" }
    ));
}

/// Columns the user named, by header or by number from 1.
fn chosen(columns: &mut [Column], options: &Options) -> Result<(), ReadError> {
    for (which, role) in &options.columns {
        let number = which.parse().ok().and_then(|n: usize| n.checked_sub(1));
        let place = columns
            .iter()
            .position(|c| c.name.eq_ignore_ascii_case(which.trim()))
            .or(number.filter(|&n| n < columns.len()));
        let Some(place) = place else {
            let names: Vec<_> = columns.iter().map(|c| format!("“{}”", c.name)).collect();
            return Err(ReadError::new(
                format!("there is no column “{which}”"),
                None,
                format!("Choose one of {} or a number from 1 to {}", names.join(", "), columns.len()),
            ));
        };
        for column in columns.iter_mut().filter(|c| c.role == *role) {
            column.role = Role::Other;
        }
        let (named, scale) = columns::role_of(&columns[place].name);
        columns[place].scale = if named == *role { scale } else { 1.0 };
        columns[place].role = *role;
    }
    Ok(())
}

/// Readings of one column, top to bottom.
fn column_cells<'t, 'h>(table: &'t Table<'h>, index: usize) -> impl Iterator<Item = &'h [u8]> + use<'t, 'h> {
    table.rows[table.first..].iter().filter_map(move |row| row.get(index).copied()).filter(|c| !c.is_empty())
}

/// Leaves one time column, or one of dates and one of clocks.
fn settle_time(table: &Table<'_>, plan: &mut Plan) -> Result<(), ReadError> {
    let date = plan.column(Role::Date).map(|c| c.index);
    if let Some(date) = date {
        let alone = column_cells(table, date)
            .next()
            .is_some_and(|cell| calendar::date_fields(cell).is_some_and(|(_, rest)| rest.is_empty()));
        let clock = plan.columns.iter().find(|c| {
            c.role == Role::Time
                && column_cells(table, c.index).next().is_some_and(|x| calendar::clock(x).is_some())
        });
        let keep = clock.map(|c| c.index).filter(|_| alone);
        for column in plan.columns.iter_mut().filter(|c| matches!(c.role, Role::Time | Role::Date)) {
            column.role = match (column.index, keep) {
                (index, Some(clock)) if index == clock => Role::Time,
                (index, Some(_)) if index == date => Role::Date,
                (index, None) if index == date => Role::Time,
                _ => Role::Other,
            };
        }
    }
    let readable =
        |c: &Column| column_cells(table, c.index).take(20).any(|x| is_moment(x) || cells::numeric(x));
    let time = plan.columns.iter().find(|c| c.role == Role::Time && readable(c)).map(|c| c.index);
    let time = time.or_else(|| {
        plan.columns.iter().map(|c| c.index).find(|&i| column_cells(table, i).next().is_some_and(is_moment))
    });
    let Some(time) = time else {
        return Err(ReadError::new(
            "no column holds the time",
            plan.header_line.map(|l| l as u64),
            "Name the one that does, by its header or number",
        ));
    };
    for column in &mut plan.columns {
        if column.index == time {
            column.role = Role::Time;
        } else if column.role == Role::Time {
            column.role = Role::Other;
        }
    }
    Ok(())
}

/// The one column of numbers beside the time, under a name that tells nothing, is taken for power, with the question.
fn guess_power(table: &Table<'_>, plan: &mut Plan) {
    if plan.columns.iter().any(|c| !matches!(c.role, Role::Time | Role::Date | Role::Other)) {
        return;
    }
    let open = |c: &&mut Column| {
        let silent = c.role == Role::Other && columns::told(&c.name).is_none();
        silent && column_cells(table, c.index).take(20).any(cells::numeric)
    };
    let mut columns = plan.columns.iter_mut().filter(open);
    if let (Some(column), None) = (columns.next(), columns.next()) {
        column.role = Role::Power;
        plan.questions.push(format!("Is “{}” the power in watts? It was taken for that", column.name));
    }
}

/// Leaves one column a role, and sees that power can be had.
fn settle_power(plan: &mut Plan) -> Result<(), ReadError> {
    for role in
        [Role::Power, Role::Voltage, Role::Current, Role::PowerFactor, Role::ApparentPower, Role::Energy]
    {
        let of_role: Vec<usize> = plan.columns.iter().filter(|c| c.role == role).map(|c| c.index).collect();
        let extreme = |i: &usize| {
            let name = plan.columns[*i].name.to_lowercase();
            ["max", "min", "peak", "spitze"].iter().any(|word| name.contains(word))
        };
        let Some(kept) = of_role.iter().copied().find(|i| !extreme(i)).or(of_role.first().copied()) else {
            continue;
        };
        if of_role.len() > 1 {
            let name = plan.columns[kept].name.clone();
            plan.questions.push(format!(
                "{} columns hold {}: is “{name}” the right one? It was taken",
                of_role.len(),
                noun(role)
            ));
        }
        for other in of_role.into_iter().filter(|i| *i != kept) {
            plan.columns[other].role = Role::Other;
        }
    }
    let has = |role| plan.column(role).is_some();
    if has(Role::Power) {
        return Ok(());
    }
    let note = if has(Role::Voltage) && has(Role::Current) && has(Role::PowerFactor) {
        "Power was computed as voltage × current × power factor"
    } else if has(Role::ApparentPower) && has(Role::PowerFactor) {
        "Power was computed as apparent power × power factor"
    } else if has(Role::Energy) {
        "Power was computed from the energy counter, as the mean between two of its steps"
    } else if has(Role::ApparentPower) || (has(Role::Voltage) && has(Role::Current)) {
        "No power and no power factor were recorded: volt-amperes were taken for watts, which is right for heaters and \
         too high for motors and pumps"
    } else {
        return Err(ReadError::new(
            "no column holds power, nor voltage and current, nor an energy counter",
            plan.header_line.map(|l| l as u64),
            "Name the column with the watts, by its header or number",
        ));
    };
    plan.notes.push(note.into());
    Ok(())
}

fn noun(role: Role) -> &'static str {
    match role {
        Role::Time => "the time",
        Role::Date => "the date",
        Role::Power => "power",
        Role::Voltage => "voltage",
        Role::Current => "current",
        Role::PowerFactor => "the power factor",
        Role::ApparentPower => "apparent power",
        Role::Energy => "energy",
        Role::Other => "something else",
    }
}

/// How time is written; None where day and month cannot be told apart in `head`.
fn time_format(
    table: &Table<'_>,
    head: &[u8],
    plan: &mut Plan,
    options: &Options,
) -> Result<Option<TimeFormat>, ReadError> {
    let dates = plan.column(Role::Date).or(plan.column(Role::Time)).cloned();
    let Some(column) = dates else { return Ok(None) };
    let Some(cell) = column_cells(table, column.index).find(|c| is_moment(c) || cells::numeric(c)) else {
        return Err(ReadError::new(
            "no readable time",
            Some(plan.preamble as u64 + 1),
            "Check the time column",
        ));
    };
    if calendar::clock(cell).is_some_and(|(_, rest)| rest.is_empty()) {
        return Ok(Some(TimeFormat::Clock));
    }
    if let Some((fields, _)) = calendar::date_fields(cell) {
        let told = options.day_first.map(|day| if day { DateOrder::DayFirst } else { DateOrder::MonthFirst });
        let order = fields.plain.or(told).or_else(|| date_order(head, plan.delimiter, column.index));
        return Ok(order.map(TimeFormat::Date));
    }
    let values: Vec<f64> =
        column_cells(table, column.index).filter_map(|c| super::number::whole(c, plan.point)).collect();
    Ok(Some(counted(&values, &column, &mut plan.questions)))
}

/// Counts from the start, or from 1970: by size alone, since no recording is thirty years long.
fn counted(values: &[f64], column: &Column, questions: &mut Vec<String>) -> TimeFormat {
    let first = values.first().copied().unwrap_or(0.0);
    for (scale, unit) in [(1.0, 1.0), (1e-3, 1e3), (1e-6, 1e6), (1e-9, 1e9)] {
        if (3e8..5e9).contains(&(first / unit)) {
            return TimeFormat::Epoch { scale };
        }
    }
    let mut steps: Vec<f64> = values.windows(2).map(|w| w[1] - w[0]).filter(|s| *s > 0.0).collect();
    steps.sort_by(f64::total_cmp);
    if column.scale == 1.0 && steps.get(steps.len() / 2).is_some_and(|step| *step >= 100.0) {
        questions.push(format!(
            "Times step by {}: are they seconds, or milliseconds? They were taken for seconds; put (ms) behind the \
             column's name if not",
            steps[steps.len() / 2]
        ));
    }
    TimeFormat::Count { scale: column.scale }
}

/// Day and month told apart: by a number over 12, else by dates that follow one another.
pub(super) fn date_order(head: &[u8], delimiter: u8, index: usize) -> Option<DateOrder> {
    let mut places = Vec::new();
    let mut before: Option<calendar::DateFields> = None;
    let (mut sure, mut likely) = (0i64, 0i64);
    for line in lines_of(head) {
        cells::split(line, delimiter, &mut places);
        let Some(&(from, to)) = places.get(index) else { continue };
        let Some((fields, _)) = calendar::date_fields(&line[from..to]) else { continue };
        let as_day = calendar::day_number(fields, DateOrder::DayFirst);
        let as_month = calendar::day_number(fields, DateOrder::MonthFirst);
        sure += i64::from(as_day.is_some()) - i64::from(as_month.is_some());
        if let Some(before) = before.filter(|b| *b != fields) {
            let near = |order, now: Option<i64>| {
                let step = now.zip(calendar::day_number(before, order)).map(|(now, then)| now - then);
                step.is_some_and(|days| (0..=2).contains(&days))
            };
            likely += i64::from(near(DateOrder::DayFirst, as_day))
                - i64::from(near(DateOrder::MonthFirst, as_month));
        }
        before = Some(fields);
    }
    match if sure == 0 { likely } else { sure } {
        0 => None,
        votes if votes > 0 => Some(DateOrder::DayFirst),
        _ => Some(DateOrder::MonthFirst),
    }
}
