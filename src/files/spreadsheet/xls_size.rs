//! How much memory the pages of an xls file ask for, seen before a library is given the file.
//!
//! The library makes a page of all cells between those that hold something, and follows a list of
//! sectors as far as it leads; a file of a few kilobytes can ask for any amount that way, and end
//! the process. Looked at here are the sectors (\[MS-CFB\]) and where cells stand (\[MS-XLS\]), nothing
//! else. What is not understood is left to the library, which tells what is wrong with it.

use super::address;
use super::limits::MEMORY;
use calamine::Cell;
use calamine::Data;

/// What pages may take of it; the rest is for the process itself.
const FOR_PAGES: u64 = MEMORY - (192 << 20);

/// Why a file is not handed on.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum TooMuch {
    /// A list of sectors leads back into itself.
    Circle,
    /// A page reaches to a cell, and with it asks for more memory than there is.
    Page(String),
}

/// Why no more can be said here.
enum Stop {
    TooMuch(TooMuch),
    Unknown,
}

/// Whether the library may be given the file.
///
/// # Errors
/// A file that would take more memory than the reading process has.
pub(super) fn look(bytes: &[u8]) -> Result<(), TooMuch> {
    let looked = workbook(bytes).and_then(|book| pages(&book));
    match looked {
        Err(Stop::TooMuch(why)) => Err(why),
        Ok(()) | Err(Stop::Unknown) => Ok(()),
    }
}

/// From this number of a sector on it means something else.
const NO_SECTOR: u32 = 0xffff_fffa;

/// Behind the last sector of a stream.
const END_OF_CHAIN: u32 = 0xffff_fffe;

/// Streams below this length lie in the small sectors.
const SMALL: usize = 4096;

/// Sectors of one size, and which follows which.
///
/// Read as the library reads them, so that a file that ends too early leads both to the same: what
/// lies behind the end is empty when it is asked for first, and zeros from then on.
struct Sectors<'b> {
    data: Vec<u8>,
    rest: &'b [u8],
    size: usize,
    /// The greatest number that is taken.
    last: usize,
    next: Vec<u32>,
}

impl Sectors<'_> {
    fn at(&mut self, number: u32) -> Result<&[u8], Stop> {
        let number = number as usize;
        if number > self.last {
            return Err(Stop::Unknown);
        }
        let start = number * self.size;
        let end = start + self.size;
        if end > self.data.len() {
            let n = (end - self.data.len()).min(self.rest.len());
            let (more, rest) = self.rest.split_at(n);
            self.data.extend_from_slice(more);
            self.rest = rest;
            let known = self.data.len();
            self.data.resize(end, 0);
            return self.data.get(start..known).ok_or(Stop::Unknown);
        }
        Ok(&self.data[start..end])
    }

    /// More sectors than a list without a circle can have.
    fn too_many(&self) -> usize {
        self.last + 3
    }

    /// The sectors from one on, up to a length.
    fn from(&mut self, first: u32, length: usize) -> Result<Vec<u8>, Stop> {
        let (mut out, mut number, mut left) = (Vec::new(), first, self.too_many());
        while number != END_OF_CHAIN {
            left -= 1;
            if left == 0 {
                return Err(Stop::TooMuch(TooMuch::Circle));
            }
            out.extend_from_slice(self.at(number)?);
            if out.len() >= length {
                break;
            }
            let next = self.next.get(number as usize);
            number = *next.ok_or(Stop::Unknown)?;
        }
        out.truncate(length);
        Ok(out)
    }
}

/// The stream of the workbook in a compound file.
fn workbook(bytes: &[u8]) -> Result<Vec<u8>, Stop> {
    let size = match short(bytes, 30)? {
        9 => 512,
        12 => 4096,
        _ => return Err(Stop::Unknown),
    };
    let last = bytes.len() / size;
    let mut sectors = Sectors {
        data: Vec::new(),
        rest: bytes.get(size..).ok_or(Stop::Unknown)?,
        size,
        last,
        next: Vec::new(),
    };
    for number in tables(bytes, &mut sectors)? {
        let table = numbers(sectors.at(number)?).collect::<Vec<u32>>();
        sectors.next.extend(table);
    }
    let listed = sectors.from(long(bytes, 48)?, usize::MAX)?;
    let entries: Vec<&[u8]> = listed.chunks_exact(128).collect();
    let mut small = smaller(bytes, &mut sectors, entries.first())?;
    // The second is taken where the first cannot be read.
    let mut found = Err(Stop::Unknown);
    for name in ["workbook", "book"] {
        let Some(entry) = entries.iter().find(|entry| is_named(entry, name)) else {
            continue;
        };
        let (first, length) = place(entry, size)?;
        found = match length {
            0..SMALL => small.from(first, length),
            SMALL.. => sectors.from(first, length),
        };
        if !matches!(found, Err(Stop::Unknown)) {
            break;
        }
    }
    found
}

/// The small sectors, which lie in a stream of their own, the first of the list.
fn smaller<'b>(
    bytes: &[u8],
    sectors: &mut Sectors<'b>,
    root: Option<&&[u8]>,
) -> Result<Sectors<'b>, Stop> {
    let (mut data, mut next) = (Vec::new(), Vec::new());
    let n_next = (long(bytes, 64)? as usize).saturating_mul(sectors.size);
    if n_next > 0 {
        let (first, length) = place(root.ok_or(Stop::Unknown)?, sectors.size)?;
        data = sectors.from(first, length)?;
        let list = sectors.from(long(bytes, 60)?, n_next)?;
        next = numbers(&list).collect();
    }
    Ok(Sectors {
        data,
        rest: sectors.rest,
        size: 64,
        last: sectors.last * 8,
        next,
    })
}

/// The sectors that say which follows which: the first are named in the head, more in a list.
fn tables(bytes: &[u8], sectors: &mut Sectors<'_>) -> Result<Vec<u32>, Stop> {
    let head = bytes.get(76..512).ok_or(Stop::Unknown)?;
    let mut out: Vec<u32> = numbers(head).collect();
    let (mut number, mut left) = (long(bytes, 68)?, sectors.too_many());
    while number < NO_SECTOR {
        left -= 1;
        if left == 0 {
            return Err(Stop::TooMuch(TooMuch::Circle));
        }
        out.extend(numbers(sectors.at(number)?));
        number = out.pop().ok_or(Stop::Unknown)?;
    }
    out.retain(|number| *number < NO_SECTOR);
    Ok(out)
}

/// Whether an entry of the list of streams has a name, in small letters.
fn is_named(entry: &[u8], name: &str) -> bool {
    let letters = entry[..64].chunks_exact(2);
    let letters = letters.map(|pair| u16::from_le_bytes([pair[0], pair[1]]));
    let letters = letters.take_while(|letter| *letter != 0);
    let small = |letter: u16| u8::try_from(letter).map(|letter| letter.to_ascii_lowercase());
    letters
        .map(|letter| small(letter).ok())
        .eq(name.bytes().map(Some))
}

/// The first sector of an entry and its length, which large sectors tell in more digits.
fn place(entry: &[u8], size: usize) -> Result<(u32, usize), Stop> {
    let high = match size {
        512 => 0,
        _ => long(entry, 124)? as usize,
    };
    let length = (high << 32) | long(entry, 120)? as usize;
    Ok((long(entry, 116)?, length))
}

fn numbers(bytes: &[u8]) -> impl Iterator<Item = u32> {
    let all = bytes.chunks_exact(4);
    all.map(|four| u32::from_le_bytes([four[0], four[1], four[2], four[3]]))
}

fn long(bytes: &[u8], at: usize) -> Result<u32, Stop> {
    let four = bytes.get(at..).unwrap_or_default();
    numbers(four).next().ok_or(Stop::Unknown)
}

fn short(bytes: &[u8], at: usize) -> Result<u16, Stop> {
    match bytes.get(at..).unwrap_or_default() {
        [low, high, ..] => Ok(u16::from_le_bytes([*low, *high])),
        _ => Err(Stop::Unknown),
    }
}

/// A kind of record and what it holds.
type Record<'b> = (u16, &'b [u8]);

fn records(mut rest: &[u8]) -> impl Iterator<Item = Record<'_>> {
    std::iter::from_fn(move || {
        let (kind, length) = (short(rest, 0).ok()?, short(rest, 2).ok()?);
        let held = rest.get(4..4 + usize::from(length))?;
        rest = &rest[4 + held.len()..];
        Some((kind, held))
    })
}

/// The records that count here.
const BEGIN: u16 = 0x0809;
const END: u16 = 0x000a;
const SHEET: u16 = 0x0085;
const DIMENSIONS: u16 = 0x0200;
const FORMULA: u16 = 0x0006;
const MANY_NUMBERS: u16 = 0x00bd;
const CELLS: [u16; 7] = [0x0203, 0x0204, 0x00d6, 0x0205, 0x027e, 0x00fd, FORMULA];

/// All pages, which are held together, and a copy of the one that is read.
fn pages(book: &[u8]) -> Result<(), Stop> {
    let (mut needed, mut largest) = (0_u64, 0_u64);
    for (kind, held) in records(book).take_while(|(kind, _)| *kind != END) {
        if kind != SHEET {
            continue;
        }
        let Some(of_page) = book.get(long(held, 0)? as usize..) else {
            continue;
        };
        let (values, formulas) = reach(of_page)?;
        let page = values.bytes::<Data>() + formulas.bytes::<String>();
        (needed, largest) = (needed.saturating_add(page), largest.max(page));
        if needed.saturating_add(largest) > FOR_PAGES {
            return Err(too_much(values.right, values.bottom));
        }
    }
    Ok(())
}

fn too_much(column: u32, row: u32) -> Stop {
    let place = address(column as usize, row as usize + 1);
    Stop::TooMuch(TooMuch::Page(place))
}

/// From which cell to which a page reaches.
#[derive(Clone, Copy, Default)]
struct Reach {
    top: u32,
    bottom: u32,
    left: u32,
    right: u32,
    is_any: bool,
}

impl Reach {
    fn take(&mut self, row: u16, column: u16) {
        let (row, column) = (row.into(), column.into());
        if !self.is_any {
            (self.top, self.left, self.is_any) = (row, column, true);
        }
        self.top = self.top.min(row);
        self.left = self.left.min(column);
        self.bottom = self.bottom.max(row);
        self.right = self.right.max(column);
    }

    /// What a value for each of its cells takes.
    fn bytes<T>(&self) -> u64 {
        if !self.is_any {
            return 0;
        }
        let down = u64::from(self.bottom - self.top) + 1;
        let across = u64::from(self.right - self.left) + 1;
        down * across * size_of::<T>() as u64
    }
}

/// How far the values and the formulas of a page reach; what stands in pages within it is skipped.
fn reach(page: &[u8]) -> Result<(Reach, Reach), Stop> {
    let (mut values, mut formulas) = (Reach::default(), Reach::default());
    let mut depth = 0_usize;
    for (kind, held) in records(page) {
        match kind {
            BEGIN => depth += 1,
            END if depth <= 1 => break,
            END => depth -= 1,
            _ if depth > 1 => {}
            DIMENSIONS => announced(held)?,
            MANY_NUMBERS if held.len() >= 6 => {
                values.take(short(held, 0)?, short(held, 2)?);
                values.take(short(held, 0)?, short(held, held.len() - 2)?);
            }
            _ if CELLS.contains(&kind) => {
                let (row, column) = (short(held, 0)?, short(held, 2)?);
                values.take(row, column);
                if kind == FORMULA {
                    formulas.take(row, column);
                }
            }
            _ => {}
        }
    }
    Ok((values, formulas))
}

/// How far a page says it reaches, for which room is made at once.
fn announced(held: &[u8]) -> Result<(), Stop> {
    let (top, bottom, left, right) = match held.len() {
        10 => (
            short(held, 0)?.into(),
            short(held, 2)?.into(),
            short(held, 4)?,
            short(held, 6)?,
        ),
        14 | 16 => (
            long(held, 0)?,
            long(held, 4)?,
            short(held, 8)?,
            short(held, 10)?,
        ),
        _ => return Err(Stop::Unknown),
    };
    // Both ends are one behind the last; columns that cannot be are counted from the first.
    let left = if left > 0xff || right < left { 0 } else { left };
    let across = u64::from(right.saturating_sub(left).max(1));
    let down = u64::from(bottom.wrapping_sub(top).max(1));
    let needed = down.saturating_mul(across * size_of::<Cell<Data>>() as u64);
    if needed > FOR_PAGES {
        return Err(too_much(right.into(), bottom));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A compound file of 4,096 bytes or more in one stream, its sectors in order.
    fn compound(stream: &[u8]) -> Vec<u8> {
        let n = stream.len().div_ceil(512).max(8) as u32;
        let mut out = vec![0; 512];
        out[30] = 9;
        for (at, value) in [(48, 1_u32), (68, NO_SECTOR), (76, 0)] {
            out[at..at + 4].copy_from_slice(&value.to_le_bytes());
        }
        out[80..512].fill(0xff);
        let next = (0..128).map(|at| match at {
            0 | 1 => 0xffff_fffe,
            at if at == n + 1 => 0xffff_fffe,
            at => at + 1,
        });
        out.extend(next.flat_map(u32::to_le_bytes));
        let mut entry = vec![0; 512];
        for (at, letter) in "WorkBook".bytes().enumerate() {
            entry[2 * at] = letter;
        }
        entry[116..120].copy_from_slice(&2_u32.to_le_bytes());
        entry[120..124].copy_from_slice(&(n * 512).to_le_bytes());
        out.extend(entry);
        out.extend(stream);
        out.resize(512 * (3 + n as usize), 0);
        out
    }

    fn record(kind: u16, held: &[u8]) -> Vec<u8> {
        let length = u16::try_from(held.len()).unwrap();
        [&kind.to_le_bytes()[..], &length.to_le_bytes(), held].concat()
    }

    /// A book whose pages have numbers at rows and columns, and formulas.
    fn book(cells: &[&[(u16, u16, u16)]]) -> Vec<u8> {
        let head = record(BEGIN, &[0; 16]);
        let mut at = (head.len() + cells.len() * 10 + 4) as u32;
        let pages = cells.iter().map(|page| {
            let all = page.iter().flat_map(|(kind, row, column)| {
                let mut held = [row.to_le_bytes(), column.to_le_bytes()].concat();
                held.resize(22, 0);
                record(*kind, &held)
            });
            [record(BEGIN, &[0; 16]), all.collect(), record(END, &[])].concat()
        });
        let pages: Vec<Vec<u8>> = pages.collect();
        let mut out = head;
        for page in &pages {
            let listed = [&at.to_le_bytes()[..], &[0, 0]].concat();
            out.extend(record(SHEET, &listed));
            at += page.len() as u32;
        }
        out.extend(record(END, &[]));
        out.extend(pages.concat());
        out
    }

    const NUMBER: u16 = 0x0203;

    #[test]
    fn a_page_between_far_cells_is_refused_where_it_cannot_be_held() {
        // As much as a page and its copy may take, and a column more, for which no room is left
        // beside the process itself.
        let far = [(NUMBER, 0, 0), (NUMBER, 65_535, 207)];
        assert_eq!(look(&compound(&book(&[&far]))), Ok(()));
        let farther = [(NUMBER, 0, 0), (NUMBER, 65_535, 208)];
        let refused = TooMuch::Page("HA65536".to_owned());
        assert_eq!(look(&compound(&book(&[&farther]))), Err(refused));
        // A column that the form does not have.
        let farthest = [(NUMBER, 3, 0), (FORMULA, 65_535, 701)];
        let refused = TooMuch::Page("ZZ65536".to_owned());
        assert_eq!(look(&compound(&book(&[&farthest]))), Err(refused));
        // All pages are held together; formulas count beside values.
        let last = |cell: &str| Err(TooMuch::Page(cell.to_owned()));
        assert_eq!(look(&compound(&book(&[&far, &far]))), last("GZ65536"));
        let both = [(FORMULA, 0, 0), (FORMULA, 65_535, 207)];
        assert_eq!(look(&compound(&book(&[&both]))), last("GZ65536"));
        let near = [(FORMULA, 0, 0), (FORMULA, 20_000, 255)];
        assert_eq!(look(&compound(&book(&[&near, &near]))), Ok(()));
    }

    #[test]
    fn cells_of_a_chart_within_a_page_are_not_its_own() {
        let page = [
            (NUMBER, 0, 0),
            (BEGIN, 0, 0),
            (NUMBER, 65_535, 65_535),
            (END, 0, 0),
            (NUMBER, 5, 5),
        ];
        assert_eq!(look(&compound(&book(&[&page]))), Ok(()));
        let outside = [(NUMBER, 0, 0), (NUMBER, 65_535, 65_535)];
        assert!(look(&compound(&book(&[&outside]))).is_err());
    }

    #[test]
    fn sectors_that_lead_back_are_refused() {
        let mut file = compound(&book(&[&[(NUMBER, 0, 0)]]));
        assert_eq!(look(&file), Ok(()));
        // The list of streams follows itself.
        file[512 + 4..512 + 8].copy_from_slice(&1_u32.to_le_bytes());
        assert_eq!(look(&file), Err(TooMuch::Circle));
    }

    /// What a file that was cut short makes of the sectors behind its end.
    #[test]
    fn a_file_that_ends_early_is_seen_through() {
        // All cells stand before the cut, and a page of all between them cannot be held.
        let far = [(NUMBER, 0, 0), (NUMBER, 65_535, 700)];
        let whole = compound(&book(&[&far]));
        let refused = || Err(TooMuch::Page("ZY65536".to_owned()));
        assert_eq!(look(&whole), refused());
        for length in [whole.len() - 1, whole.len() - 700, 4_888] {
            assert_eq!(look(&whole[..length]), refused(), "{length}");
        }
        // The list of streams begins behind the end, and goes round from there.
        let mut circle = whole[..1_024].to_vec();
        circle[512 + 4..512 + 8].copy_from_slice(&2_u32.to_le_bytes());
        circle[512 + 8..512 + 12].copy_from_slice(&1_u32.to_le_bytes());
        assert_eq!(look(&circle), Err(TooMuch::Circle));
    }

    #[test]
    fn the_list_of_small_sectors_may_not_lead_back_either() {
        let mut file = compound(&book(&[&[(NUMBER, 0, 0)]]));
        // A list as long as it likes, which nothing needs: the book lies in large sectors.
        file[60..64].copy_from_slice(&1_u32.to_le_bytes());
        file[64..68].copy_from_slice(&u32::MAX.to_le_bytes());
        assert_eq!(look(&file), Ok(()));
        file[512 + 4..512 + 8].copy_from_slice(&1_u32.to_le_bytes());
        assert_eq!(look(&file), Err(TooMuch::Circle));
        let mut file = compound(&book(&[&[(NUMBER, 0, 0)]]));
        let last = (file.len() / 512 - 2) as u32;
        file[60..64].copy_from_slice(&last.to_le_bytes());
        file[64..68].copy_from_slice(&u32::MAX.to_le_bytes());
        let entry = 512 + 4 * last as usize;
        file[entry..entry + 4].copy_from_slice(&last.to_le_bytes());
        // The first entry, whose stream holds the small sectors, begins nowhere else.
        file[1_024 + 116..1_024 + 120].copy_from_slice(&last.to_le_bytes());
        file[1_024 + 120..1_024 + 124].copy_from_slice(&64_u32.to_le_bytes());
        assert_eq!(look(&file), Err(TooMuch::Circle));
    }

    #[test]
    fn what_is_not_understood_is_left_to_the_library() {
        let whole = compound(&book(&[&[(NUMBER, 0, 0)]]));
        for length in [0, 1, 31, 75, 511, 512, 700, 1_100, 1_600, 3_000] {
            assert_eq!(look(&whole[..length]), Ok(()), "{length}");
        }
    }
}
