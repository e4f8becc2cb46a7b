//! The bytes of `am/final.mdl` → a network. No state beyond the place in them.

use ndarray::{Array1, Array2};

use super::{
    Affine, Component, FITTED, Network, NetworkError, Node, RECTIFIED_HEAD, Source, fault,
};

impl Network {
    /// Reads `am/final.mdl`.
    ///
    /// # Errors
    /// [`NetworkError`] says at what it stopped.
    pub fn read(bytes: Vec<u8>) -> Result<Self, NetworkError> {
        let mut reader = Reader {
            bytes: &bytes,
            at: 0,
        };
        reader.seek(b"<Tuples> ")?;
        let count = reader.count()?;
        let mut outputs = Vec::new();
        for phone in 1..=count {
            let (number, _) = (reader.count()?, reader.count()?);
            let pair = (reader.count()?, reader.count()?);
            if number != phone {
                return Err(fault("its phones are not numbered from 1"));
            }
            outputs.push(pair);
        }
        reader.seek(b"<Nnet3> \n")?;
        let lines = reader.config()?;
        reader.expect("<NumComponents>")?;
        let count = reader.count()?;
        let mut components = Vec::new();
        let mut places = [(0, 0); 2];
        for _ in 0..count {
            reader.expect("<ComponentName>")?;
            let name = reader.token()?;
            let kind = reader.token()?;
            let component = match kind.as_str() {
                "<AffineComponent>" => {
                    reader.expect("<LearningRate>")?;
                    reader.float()?;
                    reader.expect("<LinearParams>")?;
                    let from = reader.at;
                    let weights = reader.matrix()?;
                    reader.expect("<BiasParams>")?;
                    let bias = reader.vector()?;
                    if let Some(place) = FITTED.iter().position(|fitted| *fitted == name) {
                        places[place] = (from, reader.at);
                    }
                    reader.expect("</AffineComponent>")?;
                    if weights.nrows() != bias.len() {
                        return Err(fault(format!("layer {name} has a bias of another size")));
                    }
                    Component::Affine(Affine { weights, bias })
                }
                "<RectifiedLinearComponent>" => {
                    reader.seek(b"</RectifiedLinearComponent> ")?;
                    Component::Rectifier
                }
                "<NoOpComponent>" => {
                    reader.seek(b"</NoOpComponent> ")?;
                    Component::Passing
                }
                other => return Err(fault(format!("it has a {other}"))),
            };
            components.push((name, component));
        }
        reader.expect("</Nnet3>")?;
        for context in ["<LeftContext>", "<RightContext>"] {
            reader.expect(context)?;
            reader.count()?;
        }
        let nodes = nodes(&lines, &components)?;
        let network = Self {
            bytes,
            nodes,
            components,
            places,
            outputs,
        };
        for name in FITTED {
            network.layer(name)?;
        }
        Ok(network)
    }
}

fn nodes(lines: &[String], components: &[(String, Component)]) -> Result<Vec<Node>, NetworkError> {
    let mut nodes: Vec<Node> = Vec::new();
    for line in lines {
        let field = |name: &str| {
            line.split_once(&format!(" {name}="))
                .map(|(_, rest)| rest)
                .ok_or_else(|| fault(format!("no {name} in: {line}")))
        };
        let word = |name: &str| field(name).map(|rest| rest.split(' ').next().unwrap_or(rest));
        if line.starts_with("input-node ") {
            nodes.push(Node {
                name: word("name")?.to_owned(),
                component: 0,
                source: Source::Append(Vec::new()),
            });
        } else if line.starts_with("component-node ") {
            let wanted = word("component")?;
            let component = components
                .iter()
                .position(|(known, _)| known == wanted)
                .ok_or_else(|| fault(format!("no layer {wanted}")))?;
            let mut text = field("input")?;
            let source = source(&mut text, &nodes)?;
            if !text.trim().is_empty() {
                return Err(fault(format!("not understood: {line}")));
            }
            nodes.push(Node {
                name: word("name")?.to_owned(),
                component,
                source,
            });
        } else if !line.starts_with("output-node ") {
            return Err(fault(format!("not understood: {line}")));
        }
    }
    if nodes.iter().all(|node| node.name != RECTIFIED_HEAD) {
        return Err(fault("it has no rectified head"));
    }
    Ok(nodes)
}

/// One source from the front of `text`.
fn source(text: &mut &str, nodes: &[Node]) -> Result<Source, NetworkError> {
    let not = |text: &str| fault(format!("not understood: {text}"));
    *text = text.trim_start();
    let end = text.find(['(', ')', ',']).unwrap_or(text.len());
    let (name, rest) = text.split_at(end);
    *text = rest;
    let name = name.trim();
    let Some(inside) = rest.strip_prefix('(') else {
        return nodes
            .iter()
            .position(|node| node.name == name)
            .map(Source::Node)
            .ok_or_else(|| fault(format!("no node {name} before it is used")));
    };
    *text = inside;
    let number = |text: &mut &str| -> Result<f64, NetworkError> {
        let end = text.find([')', ',']).ok_or_else(|| not(text))?;
        let (number, rest) = text.split_at(end);
        *text = rest;
        number.trim().parse().map_err(|_| not(number))
    };
    let comma = |text: &mut &str| {
        *text = text
            .trim_start()
            .strip_prefix(',')
            .ok_or_else(|| not(text))?;
        Ok(())
    };
    let read = match name {
        "Offset" => {
            let of = source(text, nodes)?;
            comma(text)?;
            let by = number(text)?;
            #[expect(
                clippy::cast_possible_truncation,
                reason = "frames, checked to be whole"
            )]
            let whole = by as i64;
            if by.fract() != 0.0 || whole.abs() > 1000 {
                return Err(fault("an offset that is no whole number of frames"));
            }
            Source::Offset(Box::new(of), whole)
        }
        "Scale" => {
            #[expect(
                clippy::cast_possible_truncation,
                reason = "a factor as the engine has it"
            )]
            let by = number(text)? as f32;
            comma(text)?;
            Source::Scale(by, Box::new(source(text, nodes)?))
        }
        "Append" | "Sum" => {
            let mut all = vec![source(text, nodes)?];
            while text.trim_start().starts_with(',') {
                comma(text)?;
                all.push(source(text, nodes)?);
            }
            if name == "Sum" {
                Source::Sum(all)
            } else {
                Source::Append(all)
            }
        }
        other => return Err(fault(format!("a {other} of nodes"))),
    };
    *text = text
        .trim_start()
        .strip_prefix(')')
        .ok_or_else(|| not(text))?;
    Ok(read)
}

struct Reader<'b> {
    bytes: &'b [u8],
    at: usize,
}

impl Reader<'_> {
    fn take(&mut self, count: usize) -> Result<&[u8], NetworkError> {
        let end = self
            .at
            .checked_add(count)
            .filter(|end| *end <= self.bytes.len());
        let end = end.ok_or_else(|| fault("it ends too early"))?;
        let taken = &self.bytes[self.at..end];
        self.at = end;
        Ok(taken)
    }

    fn seek(&mut self, mark: &[u8]) -> Result<(), NetworkError> {
        let found = self.bytes[self.at..]
            .windows(mark.len())
            .position(|window| window == mark)
            .ok_or_else(|| fault(format!("no {}", String::from_utf8_lossy(mark).trim())))?;
        self.at += found + mark.len();
        Ok(())
    }

    fn token(&mut self) -> Result<String, NetworkError> {
        let rest = &self.bytes[self.at..];
        let end = rest.iter().take(200).position(|byte| *byte == b' ');
        let end = end.ok_or_else(|| fault("a name without an end"))?;
        let token = String::from_utf8_lossy(&rest[..end]).into_owned();
        self.at += end + 1;
        Ok(token)
    }

    fn expect(&mut self, wanted: &str) -> Result<(), NetworkError> {
        let found = self.token()?;
        if found == wanted {
            return Ok(());
        }
        Err(fault(format!("{found} where {wanted} should be")))
    }

    /// The lines up to an empty one.
    fn config(&mut self) -> Result<Vec<String>, NetworkError> {
        let rest = &self.bytes[self.at..];
        let end = rest.windows(2).position(|pair| pair == b"\n\n");
        let end = end.ok_or_else(|| fault("its layout has no end"))?;
        let text = String::from_utf8_lossy(&rest[..end]).into_owned();
        self.at += end + 2;
        Ok(text.lines().map(str::to_owned).collect())
    }

    fn four(&mut self) -> Result<[u8; 4], NetworkError> {
        Ok(self.take(4)?.try_into().expect("four bytes were taken"))
    }

    fn count(&mut self) -> Result<usize, NetworkError> {
        if self.take(1)? != [4] {
            return Err(fault("a number of another size"));
        }
        self.plain_count()
    }

    fn plain_count(&mut self) -> Result<usize, NetworkError> {
        let number = i32::from_le_bytes(self.four()?);
        usize::try_from(number).map_err(|_| fault("a number below nothing"))
    }

    fn float(&mut self) -> Result<f32, NetworkError> {
        if self.take(1)? != [4] {
            return Err(fault("a number of another size"));
        }
        Ok(f32::from_le_bytes(self.four()?))
    }

    fn floats(&mut self, count: usize) -> Result<Vec<f32>, NetworkError> {
        let bytes = self.take(count.checked_mul(4).ok_or_else(|| fault("too large"))?)?;
        let values: Vec<f32> = bytes
            .chunks_exact(4)
            .map(|four| f32::from_le_bytes(four.try_into().expect("four bytes")))
            .collect();
        if values.iter().all(|value| value.is_finite()) {
            return Ok(values);
        }
        Err(fault("a value that is no number"))
    }

    fn vector(&mut self) -> Result<Array1<f32>, NetworkError> {
        self.expect("FV")?;
        let count = self.count()?;
        Ok(self.floats(count)?.into())
    }

    fn matrix(&mut self) -> Result<Array2<f32>, NetworkError> {
        let kind = self.token()?;
        let (rows, columns, values) = match kind.as_str() {
            "FM" => {
                let (rows, columns) = (self.count()?, self.count()?);
                let count = rows
                    .checked_mul(columns)
                    .ok_or_else(|| fault("too large"))?;
                (rows, columns, self.floats(count)?)
            }
            "CM2" => {
                let low = f32::from_le_bytes(self.four()?);
                let wide = f32::from_le_bytes(self.four()?);
                let (rows, columns) = (self.plain_count()?, self.plain_count()?);
                let count = rows
                    .checked_mul(columns)
                    .and_then(|count| count.checked_mul(2));
                let bytes = self.take(count.ok_or_else(|| fault("too large"))?)?;
                let step = wide / 65535.0;
                let values = bytes
                    .chunks_exact(2)
                    .map(|two| {
                        let level = u16::from_le_bytes(two.try_into().expect("two bytes"));
                        low + step * f32::from(level)
                    })
                    .collect();
                (rows, columns, values)
            }
            other => return Err(fault(format!("a matrix of form {other}"))),
        };
        Array2::from_shape_vec((rows, columns), values).map_err(|e| fault(e.to_string()))
    }
}
